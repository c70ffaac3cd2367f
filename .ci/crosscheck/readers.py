#!/usr/bin/python3
"""What thumbline reads in a lead sheet against what readers that are not ours read in it: every tune note (time, pitch,
length) and every chord symbol (time, root, bass, pitch classes).

    readers.py           our sheets and, with THUMBLINE_DATA, both corpora
    readers.py --long    with the npm reader too (.ci/crosscheck/npm says which), where it can be had
    readers.py --show    what differs, sheet by sheet; further arguments are sheets to look at instead of all
    readers.py --update  what the small sheets are read as is written into readers.tsv anew: read it (with --long, all of it)

Each corpus must agree to LEAST percent without what is known to differ; the figures as they are are printed beside it.
For ABC the other reader is Debian's abc2midi, for MusicXML the judge's of the shared data, for MIDI Debian's mido. Known
differences stand in readers.tsv, each with a small sheet in testdata/readers that shows it and is read again every time.
"""
import csv
import json
import os
import re
import shutil
import sys
import tempfile
import zipfile
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction as F

import mido

from common import DATA, PROGRAM, ROOT, TUNES, Check, files, run, write

LEAST = 99  # percent of notes and of chord symbols that must agree over each corpus
HERE = os.path.dirname(os.path.abspath(__file__))
SHOWN = os.path.join(ROOT, 'testdata', 'readers')
SITUATIONS = os.path.join(ROOT, 'voicing', 'testdata', 'situations')
LETTERS = {'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}
SIGNS = {'': 0, 'b': -1, 'bb': -2, '#': 1, '##': 2}


class Reading:
    """One reader's answer, repeats unrolled, times in quarters. notes: [(onset, pitch, length)]; chords: [(onset, symbol)],
    a symbol being (root, bass, pitch classes or None where the reader does not know them), or None for N.C."""

    def __init__(self, notes, chords):
        self.notes, self.chords = notes, chords


def pc(name):
    return (LETTERS[name[0]] + SIGNS[name[1:]]) % 12


# Pitch classes of our spellings: what two libraries answered that are not ours either (testdata/chords). A quality on which
# the two differ is compared by root and bass alone.
def qualities():
    found = {}
    with open(os.path.join(ROOT, 'testdata', 'chords', 'chords.tsv'), encoding='utf-8') as f:
        for row in csv.DictReader(f, delimiter='\t'):
            if row['C'] != '-':
                found.setdefault(row['quality'], set()).add(frozenset('0123456789te'.index(x) for x in row['C']))
    found['(add9)'] = found.get('(add9)', set())
    return {('' if q == 'major' else q): s.copy().pop() for q, s in found.items() if len(s) == 1}


QUALITIES = qualities()


def symbol(text):
    """Our spelling of a chord -> (root, bass, pitch classes)."""
    if text == 'N.C.':
        return None
    m = re.fullmatch(r'([A-G](?:bb?|##?)?)(.*?)(?:/([A-G](?:bb?|##?)?))?', text)
    root = pc(m[1])
    bass = pc(m[3]) if m[3] else root
    pcs = QUALITIES.get(m[2])
    return root, bass, pcs and frozenset((root + p) % 12 for p in pcs) | {bass}


def ours(sheet, flags=()):
    """thumbline's reading, and why there is none."""
    with tempfile.TemporaryDirectory() as d:
        out = os.path.join(d, 'x.json')
        r = run([PROGRAM, 'write', sheet, '--out', out, *flags])
        if r.returncode:
            return None, [l for l in r.stderr.splitlines() if 'warning:' not in l][-1]
        with open(out, encoding='utf-8') as f:
            a = json.load(f)
    q = a['ticksPerQuarter']
    reading = Reading([(F(n['at'], q), n['midi'] - a['transposition'], F(n['dur'], q)) for n in a['melody']],
                      [(F(x['at'], q), symbol(x['symbol'])) for x in a['chords']])
    reading.bars = [(b['label'], F(b['at'], q), F(b['len'], q)) for b in a['bars']]
    return reading, ''


def contents(sheet):
    """The text of a sheet."""
    if sheet.endswith('.mxl'):
        with zipfile.ZipFile(sheet) as z:
            name = [n for n in z.namelist() if n.endswith(('.xml', '.musicxml')) and not n.startswith('META-INF')][0]
            raw = z.read(name)
    else:
        with open(sheet, 'rb') as f:
            raw = f.read()
    try:
        return raw.decode('utf-8')
    except UnicodeDecodeError:
        return raw.decode('utf-16' if raw[:2] in (b'\xff\xfe', b'\xfe\xff') else 'latin-1')


# ABC: abc2midi

QUOTED = re.compile(r'"([^"\n]*)"')
CHORD = re.compile(r'\(?[A-Ga-g]|N\.?C\.?$')  # all else in quotes is text
FIELD = re.compile(r'[A-Za-z+]:|%')
MARK = 20  # the first of the undefined controllers, 20 to 31: they mark chord symbols, 128 different ones each


def struck(music):
    """Music without ties and rests, but for what stands in decorations and inline fields."""
    return ''.join(x if i % 2 else x.replace('-', '').replace('z', 'C').replace('x', 'C')
                   for i, x in enumerate(re.split(r'(![^!]*!|\[[A-Za-z]:[^]]*\])', music)))


def marked(text):
    """The sheet with each chord symbol made a control change, which abc2midi keeps at its place through repeats, and the
    symbols in the order of their numbers. Ties are taken out and rests filled: a mark there would come too early."""
    symbols = []

    def number(m):
        if not CHORD.match(m[1]):
            return ''
        if m[1] not in symbols:
            symbols.append(m[1])
        n = symbols.index(m[1])
        return f'[I:MIDI=control {MARK + n // 128} {n % 128}]'

    lines = []
    for line in text.splitlines():
        if not FIELD.match(line):
            line = '"'.join(x if i % 2 else struck(x) for i, x in enumerate(line.split('"')))
            line = QUOTED.sub(number, line)
        lines.append(line)
    return '\n'.join(lines) + '\n', symbols


def played(text):
    """What abc2midi makes of a sheet, and what it says."""
    with tempfile.TemporaryDirectory() as d:
        a, m = os.path.join(d, 'x.abc'), os.path.join(d, 'x.mid')
        with open(a, 'w', encoding='latin-1', errors='replace') as f:
            f.write(text)
        # Fermatas lengthen and grace notes take from the note there; neither is written length.
        r = run(['abc2midi', a, '-o', m, '-NFER', '-NGRA', '-NFNP'], timeout=20, errors='replace')
        if not os.path.exists(m):
            raise OSError(f'abc2midi wrote nothing: {r.stdout[-200:]}')
        return mido.MidiFile(m, clip=True), r.stdout


def grid(ticks, q):
    """abc2midi starts a note a tick late and cuts fractions: to the nearest 48th of a quarter, where fives and sevens lie near enough."""
    return F(round(F(ticks, q) * 48), 48)


def sounding(track):
    """[(on, off, pitch, channel)] of one track, in ticks."""
    t, on, out = 0, {}, []
    for e in track:
        t += e.time
        if e.type == 'note_on' and e.velocity:
            on[e.channel, e.note] = t
        elif e.type in ('note_on', 'note_off') and (e.channel, e.note) in on:
            out.append((on.pop((e.channel, e.note)), t, e.note, e.channel))
    return sorted(out)


LEARNT = {}


def learn(symbols):
    """Pitch classes of chord symbols as abc2midi plays them: a sheet with a bar for each, its accompaniment heard."""
    new = [s for s in symbols if s not in LEARNT]
    if not new:
        return
    midi, said = played('X:1\nT:x\nM:4/4\nL:1/4\nK:C\n%%MIDI gchord c\n' + ''.join(f'"{s}"z4|\n' for s in new))
    unknown = set(re.findall(r'Unrecognized chord name "([^"]*)"', said))  # these it plays as a plain triad
    q, bars = midi.ticks_per_beat, {}
    for track in midi.tracks:
        for on, _, pitch, _ in sounding(track):
            bars.setdefault(on // (4 * q), []).append(pitch)
    for i, s in enumerate(new):
        tail = NAME.sub('', s, count=1).split('/')[0].rstrip(')')
        LEARNT[s] = None if tail in unknown else bars.get(i)


NAME = re.compile(r'\(?([A-Ga-g])(##?|bb?)?')


def theirs(text):
    """A symbol as written -> (root, bass, pitch classes as abc2midi plays it), None for N.C."""
    m = NAME.match(text)
    if not m:
        return None
    name = lambda m: pc(m[1].upper() + (m[2] or ''))
    low = re.search(r'/([A-Ga-g](?:##?|bb?)?)', text)
    root = name(m)
    bass = name(NAME.match(low[1])) if low else root
    return root, bass, LEARNT.get(text) and frozenset(p % 12 for p in LEARNT[text]) | {bass}


def abc2midi(sheet, mends=()):
    # R:hornpipe and the like make abc2midi swing; the standard leaves that to the player (ABC 2.1, 3.1.14).
    text = ''.join(l + '\n' for l in contents(sheet).splitlines() if not l.startswith('R:'))
    for m in mends:
        text = m(opened(text)).replace('“', '"').replace('”', '"')
    tops, chords = {}, []
    midi, _ = played(re.sub('^(K:.*)$', r'\1\n%%MIDI gchordoff', text, flags=re.M))
    for track in midi.tracks:
        for on, off, pitch, _ in sounding(track):
            at = grid(on, midi.ticks_per_beat)
            tops[at] = max(tops.get(at, (0, 0)), (pitch, grid(off, midi.ticks_per_beat) - at))
    text, symbols = marked(text)
    midi, _ = played(text)
    for track in midi.tracks:
        t = 0
        for e in track:
            t += e.time
            if e.type == 'control_change' and MARK <= e.control < MARK + 12:
                chords.append((grid(t, midi.ticks_per_beat), symbols[128 * (e.control - MARK) + e.value]))
    learn(symbols)
    return Reading([(at, *n) for at, n in sorted(tops.items())], [(at, theirs(s)) for at, s in sorted(chords, key=lambda c: c[0])])


# MusicXML: the judge's reader

# Intervals of the kinds as MusicXML 4.0 describes them (kind-value); what is left out there as usual is left out here.
KINDS = {
    'major': '047', 'minor': '037', 'augmented': '048', 'diminished': '036', 'dominant': '047t', 'major-seventh': '047e',
    'minor-seventh': '037t', 'diminished-seventh': '0369', 'augmented-seventh': '048t', 'half-diminished': '036t',
    'major-minor': '037e', 'major-sixth': '0479', 'minor-sixth': '0379', 'dominant-ninth': '047t2', 'major-ninth': '047e2',
    'minor-ninth': '037t2', 'dominant-11th': '047t25', 'major-11th': '047e25', 'minor-11th': '037t25',
    'dominant-13th': '047t29', 'major-13th': '047e29', 'minor-13th': '037t259', 'suspended-second': '027',
    'suspended-fourth': '057', 'power': '07', 'augmented-ninth': '048t2',
}
DEGREES = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 10, 9: 2, 10: 4, 11: 5, 13: 9}  # above a dominant (degree-alter)


def kind(h):
    """(root, kind, degrees, bass) of the judge -> (root, bass, pitch classes)"""
    if h is None:
        return None
    root, name, degrees, bass = h
    bass = root if bass is None else bass
    if name == 'none':
        return None
    pcs = None
    if name in KINDS:
        pcs = {'0123456789te'.index(x) for x in KINDS[name]}
        for value, alter, how in degrees:
            at = (DEGREES.get(value, 0) + alter) % 12
            if how == 'alter':
                pcs -= {p for v, p in ((3, 3), (3, 4), (5, 6), (5, 7), (5, 8), (7, 10), (7, 11), (9, 2)) if v == value}
                pcs.add(at)
            elif how == 'subtract':
                pcs.discard(at)
            else:
                pcs.add(at)
        pcs = frozenset((root + p) % 12 for p in pcs) | {bass}
    return root, bass, pcs


def judge(sheet):
    if os.path.join(DATA, 'judge') not in sys.path:
        sys.path.append(os.path.join(DATA, 'judge'))
    import leadsheet
    t = leadsheet.tune(sheet)
    return Reading([(n[0], n[2], n[1]) for n in t['melody']], [(c[0], kind(c[1])) for c in t['chords']])


# MusicXML: musicxml-io of npm, which reads a sheet as it is written, bar by bar

BAR = 1000  # quarters; written bars are laid out so far apart, since readers differ on how long a bar is


def npm(sheets):
    """{sheet: parts of measures}, or why there is none of it."""
    folder = os.path.join(ROOT, 'build', 'readers')
    if not shutil.which('npm') or not shutil.which('node'):
        return 'node and npm are missing'
    os.makedirs(folder, exist_ok=True)
    for f in ('package.json', 'readers.mjs'):
        shutil.copy(os.path.join(HERE, 'npm', f), folder)
    r = run(['npm', 'install', '--ignore-scripts', '--no-audit', '--no-fund', '--prefer-offline'], cwd=folder, timeout=300)
    if r.returncode:
        return f'npm install: {(r.stderr.strip().splitlines() or ["failed"])[-1]}'
    r = run(['node', 'readers.mjs', *sheets], cwd=folder, timeout=300)
    if r.returncode:
        return f'node: {r.stderr.strip()[-200:]}'
    return {a['path']: a for a in map(json.loads, r.stdout.splitlines())}


def as_written(answer):
    """An answer of npm's reader as a Reading of written bars; ties are joined over bar lines."""
    if 'error' in answer:
        raise ValueError(answer['error'])
    has = lambda part, kind: any(e['type'] == kind for m in part for e in m['entries'])
    part = next((p for p in answer['parts'] if has(p, 'harmony') and has(p, 'note')), answer['parts'][0])
    notes, chords, div, shift, tied, place = [], [], 1, 0, set(), {}
    for i, m in enumerate(part):
        t = before = F(0)
        voices = {}

        def attributes(a):
            nonlocal div, shift
            div = a.get('divisions') or div
            if 'transpose' in a:
                shift = a['transpose'].get('chromatic', 0) + 12 * a['transpose'].get('octaveChange', 0)

        attributes(m['attributes'])
        for e in m['entries']:
            d = F(e.get('duration') or 0).limit_denominator(10000) / div
            if e['type'] == 'attributes':
                attributes(e.get('attributes', e))
            elif e['type'] == 'note':
                if e.get('grace'):
                    continue
                at = before if e.get('chord') else t
                if e.get('pitch') and not e.get('cue'):
                    p = e['pitch']
                    pitch = LETTERS[p['step']] + int(p.get('alter', 0)) + 12 * (p['octave'] + 1) + shift
                    ties = {x['type'] for x in [e.get('tie')] + (e.get('ties') or []) if x}
                    voices.setdefault(e.get('voice') or '1', []).append((at, pitch, d, ties))
                if not e.get('chord'):
                    before, t = t, t + d
            elif e['type'] == 'backup':
                t -= d
            elif e['type'] == 'forward':
                t += d
            elif e['type'] == 'harmony':
                pitch = lambda x, k: (LETTERS[x[k + 'Step']] + int(x.get(k + 'Alter') or 0)) % 12
                degrees = tuple((g['degreeValue'], int(g.get('degreeAlter') or 0), g['degreeType']) for g in e.get('degrees') or [])
                at = max(F(0), t + F(e.get('offset') or 0).limit_denominator(10000) / div)
                chords.append((i * BAR + at, kind((pitch(e['root'], 'root'), e['kind'], degrees, pitch(e['bass'], 'bass') if e.get('bass') else None))))
        if voices:
            tops = {}
            for at, pitch, d, ties in max(voices.values(), key=lambda v: sum(n[2] for n in v)):
                if at not in tops or pitch > tops[at][1]:
                    tops[at] = (at, pitch, d, ties)
            for at, pitch, d, ties in (tops[k] for k in sorted(tops)):
                if ties & {'stop', 'continue'} and pitch in tied:
                    notes[-1] = (*notes[-1][:2], notes[-1][2] + d)
                else:
                    notes.append((i * BAR + at, pitch, d))
                tied = {pitch} if ties & {'start', 'continue'} else set()
    return Reading(notes, sorted(chords, key=lambda c: c[0]))


def first_times(sheet):
    """Our reading, each written bar once."""
    x, why = ours(sheet)
    if x is None:
        return None, why
    where = [b for b in x.bars if '/' not in b[0]]

    def lay(items):
        return [((i * BAR + item[0] - at), *item[1:]) for i, (_, at, length) in enumerate(where)
                for item in items if at <= item[0] < at + length]

    return Reading(lay(x.notes), lay(x.chords)), ''


# MIDI: mido

METRES = {F(3, 2): 8, F(3): 4, F(2): 2}  # unit of a metre by its beat; else quarters, or eighths where they do not fit


def midi_sheet(path, a, kind):
    """A lead sheet as another program may have exported it: the tune in a track of its own, symbols as text, lyrics or markers."""
    m = mido.MidiFile(type=1, ticks_per_beat=a['ticksPerQuarter'])
    first, tune = [], []
    for b, before in zip(a['bars'], [None] + a['bars']):
        if not before or (b['len'], b['beat']) != (before['len'], before['beat']):
            n, beat = F(b['len'], a['ticksPerQuarter']), F(b['beat'], a['ticksPerQuarter'])
            unit = next((u for u in (METRES.get(beat, 4), 4, 8, 16, 32) if (n * u / 4).denominator == 1), None)
            if unit:
                first.append((b['at'], 0, mido.MetaMessage('time_signature', numerator=int(n * unit / 4), denominator=unit)))
    first.append((0, 1, mido.MetaMessage('set_tempo', tempo=mido.bpm2tempo(a['tempo']))))
    for x in a['chords']:
        first.append((x['at'], 2, mido.MetaMessage(kind, text=x['symbol'])))
    for n in a['melody']:
        p = n['midi'] - a['transposition']
        tune += [(n['at'], 1, mido.Message('note_on', note=p, velocity=80)), (n['at'] + n['dur'], 0, mido.Message('note_off', note=p))]
    for name, events in (('', first), ('Tune', tune)):
        track, t = mido.MidiTrack(), 0
        track.append(mido.MetaMessage('track_name', name=name))
        for at, _, e in sorted(events, key=lambda e: e[:2]):
            track.append(e.copy(time=at - t))
            t = at
        m.tracks.append(track)
    m.save(path)


def midi_read(path, track):
    """A MIDI lead sheet as mido reads it."""
    m = mido.MidiFile(path)
    q, chords = m.ticks_per_beat, []
    for t in m.tracks:
        at = 0
        for e in t:
            at += e.time
            # Ours writes the names of sections as markers and symbols as text.
            if e.type in ('text', 'lyrics', 'marker') and re.match(r'[A-G][^ ]*$|N\.C\.', e.text) and (e.type != 'marker' or track == 'Tune'):
                chords.append((F(at, q), symbol(e.text)))
    notes = next(sounding(t) for t in m.tracks if t.name == track)
    return Reading([(F(on, q), p, F(off - on, q)) for on, off, p, _ in notes], chords)


def midi_both(sheet, n):
    """A sheet turned into MIDI by mido (n tells with which texts), and by thumbline, each read by both:
    [(what, thumbline's reading or None, why there is none, mido's)]"""
    out = []
    with tempfile.TemporaryDirectory() as d:
        j, theirs_, ours_ = (os.path.join(d, x) for x in ('x.json', 'theirs.mid', 'ours.mid'))
        error = write(sheet, [j, ours_], ['--feel', 'straight', '--no-spread'])
        if error:
            return [('', None, error, None)]
        with open(j, encoding='utf-8') as f:
            midi_sheet(theirs_, json.load(f), ('text', 'lyrics', 'marker')[n % 3])
        for what, path, track in (('written by mido', theirs_, 'Tune'), ('written by thumbline', ours_, 'Melody')):
            x, why = ours(path, ['--melody', track])
            out.append((what, x, why, midi_read(path, track)))
    return out


# Comparing

NEAR = F(1, 24)  # of a quarter: ticks and abc2midi's cutting


def paired(a, b, same):
    """Pairs of items, in order of time, at most NEAR apart, for which same holds."""
    out, start = [], 0
    used = set()
    for x in a:
        while start < len(b) and b[start][0] < x[0] - NEAR:
            start += 1
        for k in range(start, len(b)):
            if b[k][0] > x[0] + NEAR:
                break
            if k not in used and same(x, b[k]):
                used.add(k)
                out.append((x, b[k]))
                break
    return out


def same_symbol(x, y):
    x, y = x[1], y[1]
    if x is None or y is None:
        return x is y
    return x[:2] == y[:2] and (x[2] is None or y[2] is None or x[2] == y[2])


class Tally:
    WHAT = ('notes', 'lengths', 'chord times', 'chords')

    def __init__(self):
        self.sheets = 0
        self.same = dict.fromkeys(self.WHAT, 0)
        self.all = dict.fromkeys(self.WHAT, 0)

    def add(self, other):
        self.sheets += other.sheets
        for w in self.WHAT:
            self.same[w] += other.same[w]
            self.all[w] += other.all[w]

    def share(self, what):
        return 100 * self.same[what] / self.all[what] if self.all[what] else 100.

    def agrees(self):
        return self.same == self.all

    def __str__(self):
        return f'{self.sheets} sheets: ' + ', '.join(f'{w} {self.share(w):.2f} % of {self.all[w]}' for w in self.WHAT)


def compare(x, y, show=False):
    t = Tally()
    t.sheets = 1
    notes = paired(x.notes, y.notes, lambda p, q: p[1] == q[1])
    t.same['notes'], t.all['notes'] = len(notes), max(len(x.notes), len(y.notes))
    # abc2midi cuts a note where the same pitch is struck again in another voice, and staccato is not length.
    t.same['lengths'], t.all['lengths'] = sum(abs(p[2] - q[2]) <= 2 * NEAR for p, q in notes), len(notes)
    times = paired(x.chords, y.chords, lambda p, q: True)
    chords = paired(x.chords, y.chords, same_symbol)
    t.all['chord times'] = t.all['chords'] = max(len(x.chords), len(y.chords))
    t.same['chord times'], t.same['chords'] = len(times), len(chords)
    if show:
        for what, a, b, pairs in (('note', x.notes, y.notes, notes), ('chord', x.chords, y.chords, chords)):
            left, right = {id(p) for p, _ in pairs}, {id(q) for _, q in pairs}
            told = [(i[0], 'ours  ', i) for i in a if id(i) not in left] + [(i[0], 'theirs', i) for i in b if id(i) not in right]
            for at, who, i in sorted(told, key=lambda e: (e[0], e[1]))[:12]:
                print(f'    {what} {who} {float(at):8.3f} {", ".join(f"{float(v):.3f}" if isinstance(v, F) else str(v) for v in i[1:])}')
        for p, q in [p for p in notes if abs(p[0][2] - p[1][2]) > 2 * NEAR][:6]:
            print(f'    length at {float(p[0]):.3f}: {float(p[2]):.3f} ours, {float(q[2]):.3f} theirs')
    return t



# Known differences

# How the other reader's sheet is mended where that is enough; else the sheet, or its chord symbols, are taken out.
MENDS = {
    'small': lambda t: re.sub('“[a-g][#b+]?”', '', t),
    'second': lambda t: re.sub(r'(“[A-G][^”]*”)(?:\s*“[A-Ga-g][^”]*”)+', r'\1', t),
    'plus': lambda t: re.sub(r'(“[A-G][^”]*/[A-Ga-g])\+', r'\1#', t),
}


def opened(text):
    """ABC in which quotes tell whether they open or close."""
    return QUOTED.sub(r'“\1”', text)


SHARPS = ('C', 'C#', 'D', 'D#', 'E', 'F', 'F#', 'G', 'G#', 'A', 'A#', 'B')


class Difference:
    """One row of readers.tsv."""

    def __init__(self, row):
        self.name, self.other, self.take, self.right = row['construct'], row['other'], row['take'], row['right']
        self.row = row
        self.detect = re.compile(row['detect'], re.M | re.S)
        self.hits = 0

    def met(self, sheet):
        return self.detect.search(opened(contents(sheet)) if sheet.endswith('.abc') else contents(sheet))

    def sheet(self):
        return os.path.join(SHOWN, self.name + ('.abc' if self.other == 'abc2midi' else '.musicxml'))


def table():
    with open(os.path.join(HERE, 'readers.tsv'), encoding='utf-8', newline='') as f:
        rows = list(csv.DictReader(f, delimiter='\t', quoting=csv.QUOTE_NONE))
    if not rows:
        sys.exit('readers.tsv: no rows')
    return [Difference(r) for r in rows]


def told(r):
    """A reading in one line: pitches and roots, each with its time in quarters."""
    at = lambda t: f'{float(t):g}'
    root = lambda s: 'N.C.' if s is None else SHARPS[s[0]] + ('' if s[0] == s[1] else '/' + SHARPS[s[1]])
    quality = lambda s: '' if s is None or s[2] is None else '(' + ' '.join(str((p - s[0]) % 12) for p in sorted(s[2], key=lambda p: (p - s[0]) % 12)) + ')'
    return ' '.join(f'{SHARPS[n[1] % 12]}{n[1] // 12 - 1}@{at(n[0])}' for n in r.notes) + ' | ' + \
        ' '.join(f'{root(c[1])}{quality(c[1])}@{at(c[0])}' for c in r.chords)


def shown(c, differences, others, update):
    """Every difference shown on its own small sheet: still there, still the same, and mended by what is said to mend it."""
    for d in differences:
        if d.other not in others:
            continue
        c.here = f'{os.path.relpath(d.sheet(), ROOT)} and {d.other}'
        if not c.that(os.path.exists(d.sheet()), 'the sheet that shows this difference is not there'):
            continue
        x, why = (first_times if d.other == 'musicxml-io' else ours)(d.sheet())
        if not c.that(x is not None, why):
            continue
        y = others[d.other](d.sheet())
        if update:
            d.row['ours'], d.row['theirs'] = told(x), told(y)
        c.that(d.met(d.sheet()), 'the construct is not found in the sheet')
        c.that(not compare(x, y).agrees(), 'the two readers agree here by now: take the row out of readers.tsv')
        for who, is_, was in (('ours', told(x), d.row['ours']), ('theirs', told(y), d.row['theirs'])):
            c.that(is_ == was, f'{who} is read as {is_}, in readers.tsv as {was}')
        if d.take in MENDS:
            c.that(compare(x, others[d.other](d.sheet(), [MENDS[d.take]])).agrees(), 'the two differ although mended')
    if update:
        with open(os.path.join(HERE, 'readers.tsv'), 'w', encoding='utf-8', newline='') as f:
            w = csv.DictWriter(f, list(differences[0].row), delimiter='\t', quoting=csv.QUOTE_NONE, quotechar=None, lineterminator='\n')
            w.writeheader()
            w.writerows(d.row for d in differences)


def agreement(c, what, sheets, other, read, differences, show, mine=ours):
    """Both readers over many sheets: figures as they are, and without what is known."""
    c.here = what
    raw, after, out = Tally(), Tally(), []
    known = [d for d in differences if d.other == other]

    def both(s):
        x, why = mine(s)
        return x, why, x and read(s)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        results = list(pool.map(both, sheets))
    for s, (x, why, y) in zip(sheets, results):
        if x is None:
            # Without chord symbols it is not a lead sheet, and what lies outside the neck is not a matter of reading.
            c.that('no chord symbols' in why, f'{os.path.basename(s)} is not read: {why}')
            continue
        t = compare(x, y)
        raw.add(t)
        here = [d for d in known if d.met(s)]
        for d in here:
            d.hits += 1
        mends = [MENDS[d.take] for d in here if d.take in MENDS]
        if any(d.take == 'sheet' for d in here):
            out.append(s)
            continue
        if mends:
            t = compare(x, read(s, mends))
        if any(d.take == 'chords' for d in here):
            for w in ('chord times', 'chords'):
                t.same[w] = t.all[w] = 0
        after.add(t)
        if show and not t.agrees():
            print(f'  {os.path.basename(s)} {t}')
            compare(x, read(s, mends) if mends else y, True)
    print(f'{what}, {other}: as it is     {raw}')
    print(f'{what}, {other}: without known {after}')
    c.that(after.sheets > 0, 'nothing was compared')
    for w in Tally.WHAT:
        c.that(100 * after.same[w] >= LEAST * after.all[w], f'{other}: {w} {after.share(w):.2f} %, wanted {LEAST}')
    c.n += raw.all['notes'] + raw.all['chords']


def midi_agreement(c, what, sheets, show):
    """MIDI lead sheets of both writers in both readers. Three things differ by intent, and seldom enough to need no table: a
    symbol that says again what already sounds is one chord, a rest that is short beside the note before it is taken for the
    player's lifted finger, and silence before the tune is left out."""
    c.here = what
    tallies = {}
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        results = list(pool.map(midi_both, sheets, range(len(sheets))))
    for s, pairs in zip(sheets, results):
        for how, x, why, y in pairs:
            if x is None:
                c.that('no chord symbols' in why, f'{os.path.basename(s)} {how} is not read: {why}')
                continue
            # A file may begin with silence, which is no part of the tune: from the first note on.
            by = y.notes[0][0] - x.notes[0][0]
            x = Reading([(n[0] + by, *n[1:]) for n in x.notes], [(k[0] + by, k[1]) for k in x.chords])
            t = compare(x, y)
            # What is played rings on or stops with the hand: lengths of ours are those of a performance.
            if how.endswith('thumbline'):
                t.same['lengths'] = t.all['lengths'] = 0
            tallies.setdefault(how, Tally()).add(t)
            if show and not t.agrees():
                print(f'  {os.path.basename(s)} {how} {t}')
                compare(x, y, True)
    c.that(len(tallies) == 2, 'nothing was compared')
    for how, t in tallies.items():
        print(f'{what} as MIDI {how}, mido: {t}')
        for w in Tally.WHAT:
            c.that(100 * t.same[w] >= LEAST * t.all[w], f'{how}: {w} {t.share(w):.2f} %, wanted {LEAST}')
        c.n += t.all['notes'] + t.all['chords']


def corpus(folder, *endings):
    return files(os.path.join(DATA, 'corpus', folder), endings) if DATA else []


def main(args):
    show, update = '--show' in args, '--update' in args
    sheets = [a for a in args if not a.startswith('-')]
    c = Check('readers')
    differences = table()
    others = {'abc2midi': abc2midi}
    if DATA:
        others['judge'] = judge
    else:
        print("readers: THUMBLINE_DATA is not set, so the judge's reader and the shared corpora are skipped")
    if sheets:
        for s in sheets:
            other = 'abc2midi' if s.endswith('.abc') else 'judge'
            agreement(c, os.path.basename(s), [s], other, others[other], differences, True)
        return c.done()
    own = files(TUNES, ('.abc',)) + files(SITUATIONS, ('.abc',))
    agreement(c, 'our ABC', own, 'abc2midi', abc2midi, differences, show)
    if DATA:
        agreement(c, 'shared ABC', corpus('abc', '.abc'), 'abc2midi', abc2midi, differences, show)
        agreement(c, 'our MusicXML', files(TUNES, ('.musicxml', '.mxl')), 'judge', judge, differences, show)
        agreement(c, 'shared MusicXML', corpus('leadsheets', '.mxl', '.musicxml', '.xml'), 'judge', judge, differences, show)
    midi_agreement(c, 'our sheets', files(TUNES, ('.abc', '.musicxml', '.mxl')) + (files(SITUATIONS, ('.abc',)) if '--long' in args else []), show)
    if DATA:
        midi_agreement(c, 'shared ABC', corpus('abc', '.abc'), show)
        midi_agreement(c, 'shared MusicXML', corpus('leadsheets', '.mxl', '.musicxml', '.xml'), show)
    if '--long' in args:
        # Its reader of ABC leaves the key signature to whoever asks, so there are no pitches to compare.
        written = [('our MusicXML', files(TUNES, ('.musicxml', '.mxl')))]
        if DATA:
            written.append(('shared MusicXML', corpus('leadsheets', '.mxl', '.musicxml', '.xml')))
        answers = npm(sum([w[1] for w in written], []) + [d.sheet() for d in differences if d.other == 'musicxml-io'])
        if isinstance(answers, str):
            print(f"readers: npm's reader is skipped: {answers}")
        else:
            others['musicxml-io'] = lambda s, mends=(): as_written(answers[s])
            for what, which in written:
                agreement(c, what + ' as written', which, 'musicxml-io', others['musicxml-io'], differences, show, first_times)
    shown(c, differences, others, update)
    if DATA:
        print('known differences, and the sheets they are met in: ' + ', '.join(f'{d.name} ({d.other}) {d.hits}' for d in differences if d.other in others))
    return c.done()


if __name__ == '__main__':
    sys.exit(main(sys.argv[1:]))
