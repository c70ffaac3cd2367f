#!/usr/bin/python3
"""Form and setting, counted from the JSON and MIDI that the program writes, with none of its code: what differs the
second time through, how tunes begin and end, the guitar in a trio and its bass player, choruses, markers.

    setting.py [--only PART,...] [--report] [--long] [PROGRAM [SHEET...]]

One table over each corpus of the shared data (THUMBLINE_DATA) and the built-in tune, or over the sheets named, with the
tunes that fall outside. Every PART_OF-th sheet is tried, with --long or --report all; with --report nothing is demanded.

    setting.py --tabs [PROGRAM [SHEET]]    ten endings of a tune as tab, for a reader
"""
import bisect
import collections
import concurrent.futures
import os
import re
import sys
import tempfile
import traceback

import mido

import common
import form
import judged
import midi
from common import DATA, DEMO, Check, files, run

PART_OF = 16   # every so many sheets are a part that is quick to try
RANKS = 3      # endings of each kind that are looked at
ENDINGS = ('straight', 'tag', 'vamp', 'run')
INTROS = ('last', 'pedal', 'vamp')
OCTAVE = 12
GUITAR = 55    # what the guitar of a trio hardly goes below: the open G string

# key: (what, wanted of a corpus in sum, wanted of every tune or None where only the sum is asked), by part. Values are
# percent of a whole, or a mean where the name says so.
FIGURES = {
    'repeats': (
        ('notes', 'second time: notes that differ (tick, pitch, voice)', '15-40', '15-40'),
        ('frets', 'second time: notes that differ (tick, string, fret)', '15-40', '15-40'),
        ('attacks', 'second time: attacks that differ (tick, pitches)', '15-40', '15-40'),
        ('free', 'second time: notes that differ outside the last two bars of sections', '', None),
        ('tune', 'second time: notes of the tune that differ', '0', '0'),
        ('close', 'second time: notes that differ in the last two bars of a section', '0', '0'),
        ('same', '--same-repeats: notes that differ', '0', '0'),
        ('same_frets', '--same-repeats: the same by string and fret', '0', '0'),
        ('chorus', '--choruses 2: notes that differ', '15-40', '15-40'),
        ('chorus_tune', '--choruses 2: notes of the tune that differ', '0', '0'),
        ('chorus_close', '--choruses 2: notes that differ in the last two bars of a section', '<= 2', None),
        # a first bar that the turnaround before it leads into may have to be taken otherwise
        ('chorus_same', '--choruses 2 --same-repeats: notes that differ', '<= 0.5', None),
    ),
    'endings': (
        ('third', 'by default: the last chord has its third', '100', '100'),
        ('root', 'by default: its root is the last or lowest note', '100', '100'),
        ('after', 'by default: something is added after the last root', '0', '0'),
        ('tonic', 'by default: its root is the tonic, or that of the last written chord', '100', '100'),
        ('kinds_third', 'every kind: the last chord has its third', '100', '100'),
        ('kinds_root', 'every kind: its root is the last or lowest note', '100', '100'),
        ('kinds_after', 'every kind: something is added after the last root', '0', '0'),
        ('kinds_tonic', 'every kind: its root is the tonic, or that of the last written chord', '100', '100'),
        ('leaps', 'every kind: leaps over an octave in the top line put in', '<= 0.5', None),
        ('steps', 'every kind but tag: steps and common tones in the top line put in', '>= 60', None),
        ('ranks', 'kinds of which there are several', '>= 50', None),
    ) + tuple((f'has_{k}', f'tunes with an ending {k}', '>= 90', None) for k in ENDINGS),
    'intros': tuple((f'has_{k}', f'tunes with an introduction {k}', '>= 90', None) for k in INTROS) + (
        ('intro_tune', 'notes of the tune that an introduction changes', '0', '0'),
    ),
    'trio': (
        ('rootless', "changes without the root as the guitar's lowest note", '>= 97', None),
        ('rootless_later', 'the same over the first two beats of the change', '', None),
        ('subset', 'grips that lie within the solo grip (string, fret)', '>= 85', None),
        ('subset_midi', 'the same by pitches', '', None),
        ('upper', 'grips that are the solo grip without its lowest note or root', '', None),
        ('met', 'grips with a solo grip at the same moment', '', None),
        ('added_low', f'added notes below {GUITAR}', '', None),
        ('crossed', 'attacks of the guitar (tune apart) at or below the bass player', '<= 1', None),
        ('alone', 'notes of a beat and more alone', '', None),
        ('alone_solo', '... solo', '', None),
        ('with_two', 'the same with two or more others', '', None),
        ('with_two_solo', '... solo', '', None),
        ('attacks', 'attacks, of those in solo', '<= 100', None),
        ('added', 'added notes, of those in solo', '40-85', None),
        ('trio_tune', 'notes of the tune that differ from solo', '0', '0'),
        ('bassist', 'tunes with a bass line', '100', None),
        ('on_change', 'bass line: root or written bass at a change', '>= 99.5', None),
        ('range', f'bass line: notes outside {form.LOWEST}..{form.HIGHEST}', '0', '0'),
        ('bass_leaps', 'bass line: leaps over an octave', '0', '0'),
        ('channel', 'bass line: notes on channel 9 that are not in the JSON, or the other way', '0', '0'),
        ('time', 'bars with something on channel 10', '>= 98', None),
        ('louder', 'notes of channels 9 and 10 louder than the softest of the tune', '0', '0'),
    ),
    'choruses': (
        ('rises', 'from chorus to chorus more is added', '>= 90', None),
        ('first', 'added in the first chorus of three, of one played alone', '', None),
        ('third', 'added in the third', '', None),
        ('chorus_tune', 'notes of the tune that differ', '0', '0'),
        ('comp_bare', 'comping: notes of the tune', '0', '0'),
        ('comp_guide', 'comping: guide tones sound at changes', '>= 97', None),
        ('comp_bare_changes', 'comping: changes left bare', '<= 5', None),
        ('comp_ground', 'comping: root, written bass or a line in the bass', '>= 90', None),
    ),
    'markers': (
        ('intro', 'introduction', '100', '100'), ('chorus', 'choruses', '100', '100'),
        ('section', 'sections', '100', '100'), ('ending', 'ending', '100', '100'),
        ('other', 'other marks', '0', '0'),
    ),
}
# Variants whose hand and ear figures stand beside those of default: (column, flags).
JUDGED = {'endings': tuple((k, ('--ending', k)) for k in ENDINGS), 'intros': tuple((k, ('--intro', k)) for k in INTROS),
          'trio': (('trio', ('--setting', 'trio')),)}
JUDGED_FROM = ('tune:', 'hand:', 'ear:')
SYMBOL = re.compile(r'^([A-G])(bb|b|##|#)?([^/]*?(?:/9)?)(?:/([A-G])(bb|b|##|#)?)?$')
STEPS = {'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}
ACCIDENTAL = {None: 0, '': 0, 'b': -1, 'bb': -2, '#': 1, '##': 2}


class Sheet:
    """One lead sheet: what the program makes of it with any flags, each asked for once."""

    def __init__(self, path, folder):
        self.path, self.folder, self.got, self.part = path, folder, {}, ''
        self.r = collections.defaultdict(lambda: [0, 0])  # (part, figure) -> [part, whole]
        self.where = collections.defaultdict(list)        # figure -> places
        self.faults = []
        self.judged = {}                                  # column -> Counter

    def write(self, flags=(), ending='.json'):
        """The parsed JSON (or the path of the MIDI file), or None with a kind that does not fit the tune."""
        key = (tuple(flags), ending)
        if key not in self.got:
            out = os.path.join(self.folder, f'{len(self.got)}{ending}')
            error = common.write(self.path, [out], flags)
            if error:
                # not every kind fits every tune, nor are there always three of it
                if not re.search(r'does not fit this tune|ending \w+:[0-9]+: this tune has ', error):
                    raise Refused(f'{" ".join(flags)}: {error}')
                self.got[key] = None
            elif ending == '.json':
                self.got[key] = form.load(out)
                c = Check('form')
                form.form(c, self.got[key])
                self.faults += [f'{" ".join(flags)}: {x}' for x in c.bad[:2]]
            else:
                self.got[key] = out
        return self.got[key]

    def add(self, figure, part, whole=1, place=None):
        self.r[self.part, figure][0] += part
        self.r[self.part, figure][1] += whole
        if place:
            self.where[self.part, figure].append(place)

    def sections(self):
        """Those of the sheet, the bars as often as they are played."""
        if 'sections' not in self.got:
            self.got['sections'] = common.sections(self.path)
        return self.got['sections']


class Refused(Exception):
    pass


def stem(label):
    return label.split('/')[0]


def put_in(label):
    return re.match(r'^[ie][0-9]+$', label)


class Bars:
    """The bars of an arrangement and the notes struck in each."""

    def __init__(self, a):
        self.a, self.bars = a, a['bars']
        self.at = [b['at'] for b in self.bars]
        self.notes = [[] for _ in self.bars]
        for n in a['notes']:
            self.notes[self.of(n['at'])].append(n)
        self.index = {b['label']: i for i, b in enumerate(self.bars)}
        self.tune = [i for i, b in enumerate(self.bars) if not put_in(b['label'])]

    def of(self, t):
        return max(0, bisect.bisect_right(self.at, t) - 1)

    def place(self, t):
        b = self.bars[self.of(t)]
        return f"{b['label']}:{1 + (t - b['at']) / b['beat']:g}"

    def events(self, i, how):
        """A Counter of what is struck in bar i."""
        at, notes = self.at[i], self.notes[i]
        if how == 'notes':
            return collections.Counter((n['at'] - at, n['midi'], n['voice']) for n in notes)
        if how == 'frets':
            return collections.Counter((n['at'] - at, n['string'], n['fret']) for n in notes)
        if how == 'tune':
            return collections.Counter((n['at'] - at, n['midi']) for n in notes if is_tune(n))
        grips = collections.defaultdict(set)
        for n in notes:
            grips[n['at'] - at].add(n['midi'])
        return collections.Counter((t, frozenset(g)) for t, g in grips.items())


def is_tune(n):
    return n['voice'] == 'melody' and not n['fill']


def differ(x, y):
    """(events that differ, events) of two Counters, both sides counted."""
    return sum(x.values()) + sum(y.values()) - 2 * sum((x & y).values()), sum(x.values()) + sum(y.values())


def chord(symbol):
    """(root, bass, third) as pitch classes, the third a set of what may stand for it; None for no chord."""
    m = SYMBOL.match(symbol)
    if not m:
        return None
    root = (STEPS[m[1]] + ACCIDENTAL[m[2]]) % 12
    bass = (STEPS[m[4]] + ACCIDENTAL[m[5]]) % 12 if m[4] else root
    kind = m[3]
    minor = re.match(r'^(m(?!aj)|min|mi(?!n)|-|dim|o|\u00b0|\u00f8)', kind)
    third = {(root + 3) % 12} if minor else {(root + 4) % 12}
    if 'sus' in kind or kind == '5':
        third = {(root + 3) % 12, (root + 4) % 12}
    return root, bass, third


def tonic(key):
    return (STEPS[key[0]] + key.rstrip('m').count('#') - key.rstrip('m')[1:].count('b')) % 12


# --- repeats

def second_times(b):
    """[(i, j)]: bar j is bar i once more, the pass before."""
    last, out = {}, []
    for i in b.tune:
        name = stem(b.bars[i]['label'])
        if name in last:
            out.append((last[name], i))
        last[name] = i
    return out


def closes(s, b):
    """Indices of the last two bars of each section (of each chorus of it)."""
    one = Bars(s.write())
    per = len(one.tune)
    at = [one.index[e] for _, _, e in s.sections() if e in one.index] or [per - 1]
    out = set()
    for c in range(0, len(b.tune), per):
        for e in at:
            out |= {b.tune[c + k] for k in (e - 1, e) if 0 <= k < per and c + k < len(b.tune)}
    return out


def follows(b, i):
    """What comes after bar i: the stem of the next bar."""
    return stem(b.bars[i + 1]['label']) if i + 1 < len(b.bars) else ''


def compare(s, b, pairs, names, skip=(), joins=True):
    """Adds the figures of pairs of bars. names: {how: figure}; bars in skip are left out, and with joins False those
    that lead into another bar than before."""
    for i, j in pairs:
        if j in skip or i in skip or not joins and follows(b, i) != follows(b, j):
            continue
        for how, figure in names.items():
            d, n = differ(b.events(i, how), b.events(j, how))
            s.add(figure, d, n, b.bars[j]['label'] if d else None)


def repeats(s):
    b = Bars(s.write())
    pairs, last, close, per = second_times(b), last_bars(b), closes(s, b), len(b.tune)
    compare(s, b, pairs, {'notes': 'notes', 'frets': 'frets', 'attacks': 'attacks', 'tune': 'tune'})
    compare(s, b, pairs, {'notes': 'free'}, close | last)
    compare(s, b, [p for p in pairs if p[1] in close], {'notes': 'close'}, last)
    if pairs:
        b = Bars(s.write(('--same-repeats',)))
        compare(s, b, pairs, {'notes': 'same', 'frets': 'same_frets'}, last_bars(b), joins=False)
    b = Bars(s.write(('--choruses', '2')))
    if len(b.tune) != 2 * per:
        s.faults.append(f'--choruses 2 has {len(b.tune)} bars, one {per}')
        return
    pairs, close = list(zip(b.tune[:per], b.tune[per:])), closes(s, b)
    # the last bars lead on into the tune the first time and into the ending the second
    compare(s, b, pairs, {'tune': 'chorus_tune'}, last_bars(b))
    pairs = pairs[:-2]
    compare(s, b, pairs, {'notes': 'chorus'})
    compare(s, b, [p for p in pairs if p[1] in close], {'notes': 'chorus_close'})
    b = Bars(s.write(('--choruses', '2', '--same-repeats')))
    compare(s, b, pairs, {'notes': 'chorus_same'})


def last_bars(b):
    """The last bar of the tune, where the ending begins, and those before it that hold a note put in on top."""
    return {b.tune[-1]} | {i for i in b.tune[-3:] if any(n['voice'] == 'melody' and n['fill'] for n in b.notes[i])}


# --- endings

def ending(s, a, prefix, what):
    """How an arrangement closes."""
    b = Bars(a)
    written = [c for c in map(lambda x: chord(x['symbol']), s.write(('--ending', 'none'))['chords']) if c]
    chords = [(c['at'], c['symbol']) for c in a['chords'] if chord(c['symbol'])]
    if not chords or not written or not a['notes']:
        return
    root, bass, third = chord(chords[-1][1])
    home = tonic(a['key'])
    last = max(n['at'] for n in a['notes'])
    struck = min(n['midi'] for n in a['notes'] if n['at'] == last)
    if root != home and struck % 12 == home:
        # it comes home in place of a turn that the sheet ends with
        root, third = home, {(home + (3 if a['key'].endswith('m') else 4)) % 12}
    where = f'{what}:{chords[-1][1]}'
    s.add(prefix + 'tonic', root in (home, written[-1][0]), 1, None if root in (home, written[-1][0]) else where)
    final = a['grips'][-1]['at'] if a['grips'] else 0
    until = max(n['at'] + n['dur'] for n in a['notes'])
    # what was struck before the last chord and has ended is no part of it
    now = [n for n in a['notes'] if (n['at'] >= final or n['at'] + n['dur'] >= until) and n['at'] + n['dur'] > chords[-1][0]]
    ok = any(n['midi'] % 12 in third for n in now)
    s.add(prefix + 'third', ok, 1, None if ok else where)
    low = min(n['midi'] for n in a['notes'] if n['at'] <= last < n['at'] + n['dur'])
    ok = root in (low % 12, struck % 12)
    s.add(prefix + 'root', ok, 1, None if ok else f'{where} {b.place(last)} {low}')
    roots = [n['at'] for n in a['notes'] if n['midi'] % 12 == root and n['voice'] != 'inner' and n['at'] >= chords[-1][0] - a['ticksPerQuarter']]
    after = [n['at'] for n in a['notes'] if roots and n['at'] > roots[-1] and not is_tune(n)]
    s.add(prefix + 'after', bool(after), 1, f'{where} {b.place(after[0])}' if after else None)


def top_line(a, start):
    """Pitches of the line put in on top from a tick on, from the tune's last note before it."""
    line = [n for n in a['notes'] if n['voice'] == 'melody' and n['fill'] and n['at'] >= start]
    if not line:
        return []
    before = [n for n in a['notes'] if n['voice'] == 'melody' and n['at'] < line[0]['at']]
    return [n['midi'] for n in before[-1:] + line]


def endings(s):
    a = s.write()
    ending(s, a, '', 'default')
    half = a['bars'][max(0, len(a['bars']) - 4)]['at']
    for kind in ENDINGS:
        n = 0
        for rank in range(1, RANKS + 1):
            a = s.write(('--ending', f'{kind}:{rank}'))
            if a is None:
                break
            n += 1
            what = f'{kind}:{rank}'
            ending(s, a, 'kinds_', what)
            line = top_line(a, half)[kind == 'tag':]  # a tag begins where its phrase begins
            own = {(x['midi'], y['midi']) for x, y in zip(a['melody'], a['melody'][1:])}  # a leap of the tune is the tune's
            jumps = [abs(x - y) for x, y in zip(line, line[1:]) if kind != 'tag' or (x, y) not in own]
            wide = sum(j > OCTAVE for j in jumps)
            s.add('leaps', wide, len(jumps), f'{what} {max(jumps)}' if wide else None)
            if kind != 'tag' and jumps:
                s.add('steps', sum(j <= 2 for j in jumps), len(jumps))
        s.add(f'has_{kind}', n > 0)
        if n:
            s.add('ranks', n > 1)
    judge_variants(s, 'endings')


# --- introductions

def intros(s):
    tune = [(m['dur'], m['midi']) for m in s.write(('--ending', 'none'))['melody']]
    for kind in INTROS:
        a = s.write(('--intro', kind, '--ending', 'none'))
        s.add(f'has_{kind}', a is not None)
        if a is None:
            continue
        got = [(m['dur'], m['midi']) for m in a['melody']]
        s.add('intro_tune', differ(collections.Counter(tune), collections.Counter(got))[0], 2 * len(tune))
        if not any(x['label'] == 'i1' for x in a['bars']):
            s.faults.append(f'--intro {kind} puts in no bar i1')
    judge_variants(s, 'intros')


# --- the judge's figures

def judge_variants(s, part):
    """Hand and ear figures of the whole, and of the bars put in with one bar of tune beside them."""
    import measure
    pace = tempo(s)
    for column, flags in (('default', ()),) + JUDGED[part]:
        a = s.write(flags)
        if a is None:
            continue
        s.judged[part, column] = measure.measure(a, pace)
        if part != 'trio' and column != 'default':
            c = passage(a)
            if c:
                s.judged[part, column + ' alone'] = measure.measure(c, pace)


def tempo(s):
    """What the judge needs of the sheet to know how fast hands must be."""
    if s.path.endswith('.abc'):
        import abcmelody
        lead = abcmelody.facts(s.path)
    else:
        import leadsheet
        lead = leadsheet.tune(s.path)
    return {k: lead[k] for k in ('tempo', 'beat') if k in lead}


def passage(a):
    """The bars put in and one bar of the tune beside them, as an arrangement of their own; the last two bars where an
    ending puts in none."""
    i = [k for k, b in enumerate(a['bars']) if put_in(b['label'])]
    if i and i[0] == 0:
        keep = range(0, min(len(a['bars']), i[-1] + 2))
    elif i:
        keep = range(max(0, i[0] - 1), len(a['bars']))
    else:
        keep = range(max(0, len(a['bars']) - 2), len(a['bars']))
    out = cut(a, keep[0], keep[-1])
    return out if out['notes'] else None


def cut(a, first, last, since=0):
    """Bars first to last as an arrangement of their own, as far as the judge measures it; times are counted from since."""
    start, end = a['bars'][first]['at'], a['bars'][last]['at'] + a['bars'][last]['len']
    return dict(a, **{k: [dict(x, at=x['at'] - since) for x in a[k] if start <= x['at'] < end] for k in ('bars', 'melody', 'chords', 'notes')})


# --- trio

def trio(s):
    solo, a = s.write(), s.write(('--setting', 'trio'))
    import measure
    b, score = Bars(a), measure.Score(a)
    changes = [(c['at'], chord(c['symbol'])) for c in a['chords']]
    changes = [(t, h) for k, (t, h) in enumerate(changes) if h and (k + 1 == len(changes) or changes[k + 1][0] > t)]
    ends = [t for t, _ in changes[1:]] + [a['bars'][-1]['at'] + a['bars'][-1]['len']]
    for (t, (root, bass, _)), e in zip(changes, ends):
        for figure, until in (('rootless', t + 1), ('rootless_later', min(e, t + 2 * a['ticksPerQuarter']))):
            bad = False
            for u in [t] + score.between(t + 1, until):
                added = [n for n in score.sounding(u) if not is_tune(n)]
                low = min(added, key=lambda n: n['midi']) if added else None
                bad |= bool(low) and low['midi'] % 12 in (root, bass)
            s.add(figure, not bad, 1, b.place(t) if bad and figure == 'rootless' else None)
    grips = {g['at']: stops(g) for g in solo['grips']}
    tuning = {len(a['tuning']) - k: p for k, p in enumerate(a['tuning'])}
    symbol_at = lambda t: next((h for u, h in reversed(changes) if u <= t), None)
    for g in a['grips']:
        x, y = stops(g), grips.get(g['at'])
        s.add('met', y is not None)
        if y is None:
            continue
        s.add('subset', x <= y, 1, None if x <= y else f"{g['bar']}:{g['beat']:g}")
        px, py = ({tuning[st] + f for st, f in z} for z in (x, y))
        s.add('subset_midi', px <= py)
        h = symbol_at(g['at'])
        roots = {z for z in y if h and (tuning[z[0]] + a['capo'] + z[1]) % 12 == h[0]}
        lowest = {max(y)} if y else set()
        s.add('upper', x in (y, y - lowest, y - roots, y - lowest - roots))
    added = [n for n in a['notes'] if not is_tune(n)]
    s.add('added_low', sum(n['midi'] < GUITAR for n in added), len(added))
    rs, rt = (measure.measure(x, None) for x in (solo, a))
    for k in ('alone', 'with_two'):
        s.add(k, rt[k], rt['beat_notes'])
        s.add(k + '_solo', rs[k], rs['beat_notes'])
    s.add('attacks', rt['attacks'], rs['attacks'])
    s.add('added', len(added), sum(not is_tune(n) for n in solo['notes']))
    x, y = (collections.Counter((m['at'], m['dur'], m['midi']) for m in z['melody']) for z in (solo, a))
    s.add('trio_tune', *differ(x, y))
    bassist(s, a, b, changes, score)
    judge_variants(s, 'trio')


def stops(g):
    """{(string, fret)} of a grip."""
    n = len(g['frets'])
    return {(n - k, f) for k, f in enumerate(g['frets']) if f >= 0}


def bassist(s, a, b, changes, score):
    line = a.get('bassist')
    s.add('bassist', bool(line))
    if not line:
        return
    at = {n['at']: n['midi'] for n in line}
    for t, (root, bass, _) in changes:
        ok = t in at and at[t] % 12 in (root, bass)
        s.add('on_change', ok, 1, None if ok else b.place(t))
    for x, y in zip(line, line[1:]):
        wide = abs(x['midi'] - y['midi']) > OCTAVE
        s.add('bass_leaps', wide, 1, b.place(y['at']) if wide else None)
    starts = [n['at'] for n in line]
    for n in line:
        out = not form.LOWEST <= n['midi'] <= form.HIGHEST
        s.add('range', out, 1, f"{b.place(n['at'])} {n['midi']}" if out else None)
    for t in score.attacks:
        k = bisect.bisect_right(starts, t) - 1
        if k < 0 or t >= line[k]['at'] + line[k]['dur']:
            continue
        low = [n['midi'] for n in score.at[t] if not is_tune(n)]
        if low:
            under = min(low) <= line[k]['midi']
            s.add('crossed', under, 1, b.place(t) if under else None)
    even = ('--setting', 'trio', '--feel', 'straight', '--no-spread')  # the file as it is counted, not as it is played
    notes, a = midi.mido_notes(s.write(even, '.mid')), s.write(even)
    s.add('channel', *differ(collections.Counter((t, p) for t, _, ch, p, _ in notes if ch == midi.BASSIST),
                             collections.Counter((n['at'], n['midi']) for n in a['bassist'])))
    b, symbols = Bars(a), [(c['at'], chord(c['symbol'])) for c in a['chords']]
    ticks = {b.of(t) for t, _, ch, _, _ in notes if ch == midi.TIME}
    for i, x in enumerate(b.bars):
        if i == 0 and len(b.bars) > 1 and x['len'] < b.bars[1]['len']:
            continue  # they come in after the pick-up
        now = [h for t, h in symbols if t < x['at'] + x['len']]
        if not now or now[-1] is None:
            continue  # no chord, no company
        s.add('time', i in ticks, 1, None if i in ticks else x['label'])
    tune = {(n['at'], n['string']) for n in a['notes'] if is_tune(n)}  # channel by string
    softest = min((v for t, _, ch, _, v in notes if (t, ch) in tune), default=0)
    company = [v for _, _, ch, _, v in notes if ch in (midi.BASSIST, midi.TIME)]
    s.add('louder', sum(v > softest for v in company), len(company), f'{max(company, default=0)} over {softest}' if any(v > softest for v in company) else None)


# --- choruses

def choruses(s):
    one, a = s.write(), s.write(('--choruses', '3'))
    single, b = Bars(one), Bars(a)
    per = len(single.tune)
    if len(b.tune) != 3 * per:
        s.faults.append(f'--choruses 3 has {len(b.tune)} bars, one {per}')
        return
    # the last bar has the ending and is left out of all
    added = [sum(not is_tune(n) for i in b.tune[c * per:(c + 1) * per - 1] for n in b.notes[i]) for c in range(3)]
    alone = sum(not is_tune(n) for notes in single.notes[:per - 1] for n in notes)
    for x, y in zip(added, added[1:]):
        s.add('rises', x < y, 1, f"{'-'.join(map(str, added))} notes in {per} bars" if x >= y else None)
    s.add('first', added[0], alone)
    s.add('third', added[2], alone)
    x = collections.Counter((m['midi']) for m in one['melody'])
    y = collections.Counter((m['midi']) for m in a['melody'])
    s.add('chorus_tune', *differ(collections.Counter({k: 3 * v for k, v in x.items()}), y))

    import measure
    a = s.write(('--choruses', '2', '--comp', '2'))
    comp = cut(a, per, 2 * per - 1, a['bars'][per]['at'])
    s.add('comp_bare', len(comp['melody']), len(comp['notes']))
    r = measure.measure(comp, None)
    s.add('comp_guide', r['guide'], r['guide_asked'])
    s.add('comp_bare_changes', r['changes_bare'], r['changes'])
    s.add('comp_ground', r['ground'], r['changes_dressed'])


# --- markers

def markers(s):
    flags = ('--choruses', '2', '--feel', 'straight', '--no-spread')
    for extra in (('--intro', 'last'), ()), (('--ending', 'tag'), ()):
        for x in extra:
            if s.write(flags + x) is not None:
                flags += x
                break
    a, path = s.write(flags), s.write(flags, '.mid')
    got = collections.defaultdict(list)
    t = 0
    for m in mido.merge_tracks(mido.MidiFile(path).tracks):
        t += m.time
        if m.type == 'marker':
            got[t].append(m.text)
    b, base = Bars(a), Bars(s.write()).index
    per = len(b.tune) // 2
    want = []
    for letter, name, figure in (('i', 'introduction', 'intro'), ('e', 'ending', 'ending')):
        k = b.index.get(letter + '1')
        if k is not None:
            want.append((figure, b.at[k], name))
    for c in range(2):
        want.append(('chorus', b.at[b.tune[c * per]], f'chorus {c + 1}'))
        want += [('section', b.at[b.tune[c * per + base[first]]], name) for name, first, _ in s.sections() if first in base]
    met = collections.Counter()
    for figure, at, name in want:
        ok = any(re.search(rf'(^|\W){re.escape(name)}(\W|$)', x) for x in got[at])
        s.add(figure, ok, 1, None if ok else f'{name} at {b.place(at)}')
        met[at] += 1
    for at, texts in list(got.items()):
        extra = max(0, len(texts) - met[at])
        s.add('other', extra, len(texts), f'{texts} at {b.place(at)}' if extra else None)


# --- all of it

PLAYED = {'repeats': repeats, 'endings': endings, 'intros': intros, 'trio': trio, 'choruses': choruses, 'markers': markers}


def look(job):
    """(sheet, parts) -> (figures, places, judged, faults) or None for a sheet that has no chords."""
    path, parts = job
    judged.judge()
    with tempfile.TemporaryDirectory() as d:
        s = Sheet(path, d)
        try:
            s.write()
        except Refused as e:
            return None if 'no chord symbols' in str(e) else ({}, {}, {}, [str(e)])
        for p in parts:
            s.part = p
            try:
                PLAYED[p](s)
            except Refused as e:
                s.faults.append(str(e))
            except Exception:  # a mistake of the check must not hide the other parts
                s.faults.append(f'{p}: {traceback.format_exc(limit=-1).strip().splitlines()[-1]}')
        return {k: tuple(v) for k, v in s.r.items()}, dict(s.where), s.judged, s.faults


def holds(value, want):
    return not want or (value == 100 if want == '100' else judged.judge().holds(value, want))


def table(c, name, sheets, parts, pool, demand, shares):
    """Prints the figures of some sheets. With demand what may never or must always be is demanded, with shares every
    figure: of a part of the sheets these say little."""
    c.here = name
    if not sheets:
        c.fail('no sheets')
        return
    got = {}
    for path, r in zip(sheets, pool.map(look, [(p, parts) for p in sheets])):
        if r:
            got[os.path.basename(path)] = r
            for f in r[3]:
                c.that(not demand, f'{os.path.basename(path)}: {f}')
                print(f'FAULT {os.path.basename(path)}: {f}')
    print(f'== {name}: {len(got)} of {len(sheets)} sheets')
    for part in parts:
        print(f'-- {part}')
        for key, what, want, each in FIGURES[part]:
            vals = {n: r[0][part, key] for n, r in got.items() if r[0].get((part, key), (0, 0))[1]}
            if not vals:
                print(f'{what:78s}       -  nothing to measure')
                continue
            p, w = (sum(v[i] for v in vals.values()) for i in (0, 1))
            v = 100 * p / w
            out = sorted(((100 * x / y, n) for n, (x, y) in vals.items() if each and not holds(100 * x / y, each)), reverse=True)
            print(f'{what:78s}{v:8.2f}{" " if holds(v, want) else "<"} {want:8s} ({p} of {w})')
            if each:
                told = [f'{n} {x:.0f} ({" ".join(got[n][1].get((part, key), [])[:4])})' for x, n in out]
                print(f'    of {len(vals)} tunes outside {each}: {len(out)}{"" if not out else ": " + "; ".join(told[:12])}')
            elif want and not holds(v, want):
                worst = sorted(vals, key=lambda n: -len(got[n][1].get((part, key), [])))
                print('    ' + '; '.join(f'{n} ({" ".join(got[n][1].get((part, key), [])[:6])})' for n in worst[:8] if got[n][1].get((part, key))))
            if demand and want and (shares or want in ('0', '100')):
                c.that(holds(v, want), f'{part}: {what}: {v:.2f} % ({p} of {w}), wanted {want}')
        if part in JUDGED:
            beside(c, part, got, demand, shares)


def beside(c, part, got, demand, shares):
    """The judge's hand and ear figures of the variants beside those by default."""
    columns = ['default'] + [x for k, _ in JUDGED[part] for x in (k, k + ' alone')]
    tot = {col: sum((r[2][part, col] for r in got.values() if (part, col) in r[2]), collections.Counter()) for col in columns}
    tot = {col: t for col, t in tot.items() if t}
    print(f'{"the judge, whole and bars put in alone":54s}' + ''.join(f'{col[:14]:>15s}' for col in tot))
    for name, p, w, want in judged.judge().SHARES:
        if not name.startswith(JUDGED_FROM) or name == judged.READ:
            continue
        cells = ''
        for col, t in tot.items():
            if not t[w]:
                cells += f'{"-":>14s} '
                continue
            v = 100 * t[p] / t[w]
            ok = judged.judge().holds(v, want)
            cells += f'{v:14.2f}{" " if ok else "<"}'
            if demand and (shares or want == '0') and not col.endswith('alone'):
                c.that(ok, f'{part}: {col}: {name}: {v:.2f} % ({t[p]} of {t[w]}), wanted {want}')
        print(f'{name:54s}{cells}  {want}')
        bad = [f'{n} {col}' for n, r in got.items() for col in tot if want == '0' and (part, col) in r[2] and r[2][part, col][p]]
        if bad:
            print('    ' + '; '.join(bad[:12]))


def tabs(sheet):
    """Ten endings of a tune, with the last two bars of the tune before them."""
    shown = 0
    for rank in range(1, 10):
        for kind in ENDINGS:
            with tempfile.TemporaryDirectory() as d:
                out = os.path.join(d, 'x.json')
                flags = ['--ending', f'{kind}:{rank}']
                if shown >= 10 or common.write(sheet, [out], flags):
                    continue
                a = form.load(out)
            labels = [b['label'] for b in a['bars']]
            k = next((i for i, l in enumerate(labels) if put_in(l)), len(labels))
            r = run([common.PROGRAM, 'shapes', sheet] + flags + ['--bars', f'{labels[max(0, k - 2)]}-{labels[-1]}'])
            print(f'### --ending {kind}:{rank}\n{r.stdout}{r.stderr}')
            shown += 1
    print(f'{shown} endings')
    return 0 if shown >= 10 else 1


def main(args):
    parts = tuple(PLAYED)
    report, whole = '--report' in args, bool({'--report', '--long'} & set(args))
    if '--only' in args:
        k = args.index('--only')
        parts = tuple(args[k + 1].split(','))
        args = args[:k] + args[k + 2:]
        if set(parts) - set(PLAYED):
            sys.exit(f'setting: parts are {", ".join(PLAYED)}')
    show = '--tabs' in args
    args = [x for x in args if not x.startswith('--')]
    if args:
        common.PROGRAM = os.path.abspath(args[0])
    if show:
        return tabs(args[1] if len(args) > 1 else DEMO)
    if not DATA:
        print('setting: skipped, THUMBLINE_DATA is not set (it names the folder of the shared data)')
        return 1 if report else 0
    judged.judge()
    c = Check('form and setting')
    some = lambda x: x if whole else x[::PART_OF]
    if args[1:]:
        sets = [('sheets named', args[1:])]
    else:
        sets = [('the built-in tune', [DEMO]),
                ('lead sheets in MusicXML', some(files(os.path.join(DATA, 'corpus', 'leadsheets'), ('.mxl', '.musicxml', '.xml')))),
                ('lead sheets in ABC', some(files(os.path.join(DATA, 'corpus', 'abc'), ('.abc',))))]
    with concurrent.futures.ProcessPoolExecutor(2) as pool:
        for name, sheets in sets:
            table(c, name, sheets, parts, pool, not report, whole or len(sheets) == 1)
    return 0 if report else c.done()


if __name__ == '__main__':
    sys.exit(main(sys.argv[1:]))
