"""Our MIDI files as midicsv and mido read them, against the notes of the JSON.

The straight file must have every note of the JSON at its tick; the default file, swung and spread, the same notes on
the same strings in the same order. In a trio channel 9 has the bass line of the JSON and channel 10 soft percussion, and
the guitar is what it is alone.
"""
import csv
import os
import re
import sys
import tempfile

import mido

import form
from common import TUNES, Check, run, sections, write

TRACKS = ('Melody', 'Inner', 'Bass')
STEPS = {'F': -1, 'C': 0, 'G': 1, 'D': 2, 'A': 3, 'E': 4, 'B': 5}  # on the circle of fifths
JAZZ_GUITAR = 26  # General MIDI counts 27 from 1
BAND = ('Bassist', 'Time')
BASSIST, TIME = 9, 10  # channels, counted from 1
ACOUSTIC_BASS, STANDARD_KIT = 32, 0
# General MIDI percussion: side stick, closed and pedal hi-hat, ride cymbal 1, maracas
SOFT = {37, 42, 44, 51, 70}


def text(s):
    """midicsv writes bytes beyond ASCII as \\ooo and doubles the backslash."""
    raw = re.sub(rb'\\(\\|[0-7]{3})', lambda m: b'\\' if m[1] == b'\\' else bytes([int(m[1], 8)]), s.encode('latin-1'))
    return raw.decode('utf-8')


def events(path):
    """midicsv's rows as (track, tick, kind, values); a complaint of midicsv is an error."""
    r = run(['midicsv', path], encoding='latin-1')
    if r.returncode or r.stderr.strip():
        raise ValueError(f'midicsv: {r.stderr.strip()}')
    return [(int(x[0]), int(x[1]), x[2], x[3:]) for x in csv.reader(r.stdout.splitlines(), skipinitialspace=True)]


def notes(c, rows):
    """[(tick, length, channel, pitch, track, velocity)], and whatever is no clean note goes to the check."""
    open_, out = {}, []
    order = {'Note_off_c': 0}  # a note may begin on the tick at which the one before it on its channel ends
    for track, tick, kind, v in sorted((r for r in rows if r[2].startswith('Note_')), key=lambda r: (r[1], order.get(r[2], 1))):
        channel, pitch, velocity = (int(x) for x in v)
        one = (channel, pitch) if channel + 1 == TIME else channel  # one note at a time, of percussion one of a key
        if kind == 'Note_on_c' and velocity > 0:
            if one in open_:
                c.fail(f'tick {tick}: a note on channel {channel + 1}, where one still sounds')
            open_[one] = (tick, pitch, track, velocity)
            continue
        was = open_.pop(one, None)
        if not c.that(was and was[1] == pitch and was[2] == track, f'tick {tick}: note-off of {pitch} on channel {channel + 1} ends {was}'):
            continue
        out.append((was[0], tick - was[0], channel + 1, pitch, track, was[3]))
        c.that(tick > was[0], f'tick {tick}: a note of no length')
    c.that(not open_, f'notes without an end: {open_}')
    return sorted(out)


def seconds(rows, tick):
    """When a tick is heard, by midicsv's tempo marks."""
    marks = sorted((t, int(v[0])) for _, t, kind, v in rows if kind == 'Tempo')
    total, at, us = 0., 0, 500000
    for t, n in marks:
        if t >= tick:
            break
        total, at, us = total + (t - at) * us, t, n
    return (total + (tick - at) * us) / 960 / 1e6


def last_tick(rows):
    return max(t for _, t, kind, _ in rows if kind == 'End_track')


def fifths(key):
    name = key.rstrip('m')
    return STEPS[name[0]] + 7 * (name.count('#') - name.count('b')) - 3 * key.endswith('m')


def head(c, a, rows, tracks=TRACKS):
    """The tracks, and what stands in the first one."""
    h = next(r for r in rows if r[2] == 'Header')[3]
    c.that(h == ['1', str(1 + len(tracks)), '960'], f'header {h}, not format 1 with {1 + len(tracks)} tracks at 960')
    names = {tr: text(v[0]) for tr, t, kind, v in rows if kind == 'Title_t' and t == 0}
    for i, want in enumerate(tracks):
        c.that(names.get(i + 2) == want, f'track {i + 2} is called {names.get(i + 2)!r}, not {want}')
    if a['title'].strip():
        c.same(' '.join(a['title'].split()), ' '.join(names.get(1, '').split()), 'title')

    def of(kind):
        got = [(t, v) for tr, t, k, v in rows if k == kind]
        c.that(all(tr == 1 for tr, _, k, _ in rows if k == kind), f'{kind} outside the first track')
        return got

    tempi = of('Tempo')
    if c.that(tempi and tempi[0][0] == 0, 'no tempo at the start'):
        c.near(60e6 / a['tempo'], int(tempi[0][1][0]), 1, 'microseconds a quarter')
    keys = of('Key_signature')
    if c.that(keys and keys[0][0] == 0, 'no key at the start'):
        c.same((fifths(a['key']), 'minor' if a['key'].endswith('m') else 'major'), (int(keys[0][1][0]), keys[0][1][1]), 'key')
    metres = dict((t, int(v[0]) * 3840 // 2 ** int(v[1])) for t, v in of('Time_signature'))
    length = None
    for b in a['bars']:
        length = metres.pop(b['at'], length)
        c.same(b['len'], length, f"time signature at bar {b['label']}")
    c.that(not metres, f'time signatures inside bars: {metres}')
    c.same([(x['at'], x['symbol']) for x in a['chords']], [(t, text(v[0])) for t, v in of('Text_t')], 'chord symbols')
    starts = {b['at'] for b in a['bars']}
    for t, v in of('Marker_t'):
        c.that(t in starts and text(v[0]), f'marker {v} at {t}, where no bar starts')
    return [(t, text(v[0])) for t, v in of('Marker_t')]


def programs(c, rows, ns):
    told = {(tr, int(v[0]) + 1) for tr, t, kind, v in rows if kind == 'Program_c' and t == 0 and int(v[1]) == JAZZ_GUITAR}
    used = {(n[4], n[2]) for n in ns}
    c.that(used <= told, f'no program {JAZZ_GUITAR + 1} on (track, channel) {sorted(used - told)}')
    other = [v for _, _, kind, v in rows if kind == 'Program_c' and int(v[1]) != JAZZ_GUITAR]
    c.that(not other, f'programs {other}')


def levels(c, ns):
    """Every note of the tune louder than every one of the bass, and those than the inner voices."""
    loud = {tr: [n[5] for n in ns if n[4] == tr] for tr in (2, 4, 3)}  # melody, bass, inner
    spans = [(min(v), max(v)) for v in loud.values() if v]
    c.that(all(x[0] > y[1] for x, y in zip(spans, spans[1:])), f'velocities of melody, bass, inner: {spans}')


def second_reader(c, rows, ns, path, tracks=TRACKS):
    """mido's count and length against midicsv's."""
    m = mido.MidiFile(path)
    on = [x for t in m.tracks for x in t if x.type == 'note_on' and x.velocity > 0]
    c.that((m.type, m.ticks_per_beat, len(m.tracks)) == (1, 960, 1 + len(tracks)), f'mido: type {m.type}, {m.ticks_per_beat} ticks, {len(m.tracks)} tracks')
    c.that(len(on) == len(ns), f'mido counts {len(on)} notes, midicsv {len(ns)}')
    c.that(sorted((x.channel + 1, x.note, x.velocity) for x in on) == sorted((n[2], n[3], n[5]) for n in ns), 'mido and midicsv read different notes')
    c.that(abs(m.length - seconds(rows, last_tick(rows))) < 1e-3, f'mido: {m.length:.3f} s, midicsv: {seconds(rows, last_tick(rows)):.3f} s')
    return m.length


def guitar(a):
    """[(tick, length, string, pitch, track)] of the notes of the JSON."""
    return sorted((n['at'], n['dur'], n['string'], n['midi'], form.VOICES.index(n['voice']) + 2) for n in a['notes'])


def straight(c, a, path):
    rows = events(path)
    ns = notes(c, rows)
    ours = guitar(a)
    theirs = [n[:5] for n in ns]
    c.n += len(ours)
    if ours != theirs:
        lost, found = sorted(set(ours) - set(theirs)), sorted(set(theirs) - set(ours))
        c.fail(f'notes (tick, length, string, pitch, track): {len(lost)} of the JSON are not there, such as {lost[:2]}; '
               f'{len(found)} there are not in the JSON, such as {found[:2]}')
    markers = head(c, a, rows)
    programs(c, rows, ns)
    levels(c, ns)
    end = a['bars'][-1]['at'] + a['bars'][-1]['len']
    c.same(max([end] + [n['at'] + n['dur'] for n in a['notes']]), last_tick(rows), 'end')
    length = second_reader(c, rows, ns, path)
    if sum(r[2] == 'Tempo' for r in rows) == 1:
        c.near(last_tick(rows) / 960 * 60 / a['tempo'], length, 0.01, 'length in seconds')
    return markers, length


def performed(c, a, path):
    """Swung and spread: no note lost, none on another string, none far from its place."""
    rows = events(path)
    ns = notes(c, rows)
    c.same(len(a['notes']), len(ns), 'notes')
    for s in range(1, len(a['tuning']) + 1):
        ours = [n for n in a['notes'] if n['string'] == s]
        theirs = [n for n in ns if n[2] == s]
        if c.same([n['midi'] for n in ours], [n[3] for n in theirs], f'pitches on string {s}'):
            far = [(x['at'], y[0]) for x, y in zip(ours, theirs) if abs(x['at'] - y[0]) > 480]
            c.that(not far, f'string {s}: notes far from their place: {far[:3]}')
    programs(c, rows, ns)
    levels(c, ns)
    return second_reader(c, rows, ns, path)


def voices(c, sheet, d, whole):
    """With --only the file has the notes of these voices and no others, played as they are in the whole."""
    ns = notes(Check('whole'), events(whole))
    for only in (('melody',), ('inner', 'bass')):
        path = os.path.join(d, 'v.mid')
        error = write(sheet, [path], ['--only', ','.join(only)])
        if not c.that(not error, error):
            continue
        got = notes(c, events(path))
        want = [n for n in ns if TRACKS[n[4] - 2].lower() in only]
        # where a string passes from one voice to another, the length may differ
        c.same([(n[0],) + n[2:] for n in want], [(n[0],) + n[2:] for n in got], f'notes of {only}')


def mido_notes(path):
    """[(tick, length, channel, pitch, velocity)] as mido reads them, the channel counted from 1."""
    out, open_ = [], {}
    for track in mido.MidiFile(path).tracks:
        now = 0
        for m in track:
            now += m.time
            if m.type == 'note_on' and m.velocity > 0:
                open_[m.channel, m.note] = (now, m.velocity)
            elif m.type in ('note_on', 'note_off'):
                start, velocity = open_.pop((m.channel, m.note))
                out.append((start, now - start, m.channel + 1, m.note, velocity))
    return sorted(out)


def trio(c, sheet, d):
    """Bass and time beside the guitar."""
    here, c.here = c.here, c.here + ' (trio)'
    s, j, p, k, g, b = (os.path.join(d, x) for x in ('ts.mid', 'ts.json', 'tp.mid', 'tp.json', 'tg.mid', 'tb.mid'))
    flags = ['--setting', 'trio']
    error = write(sheet, [s, j], flags + ['--feel', 'straight', '--no-spread']) or write(sheet, [p, k], flags) or \
        write(sheet, [g], flags + ['--mute', 'bassist,time']) or write(sheet, [b], flags + ['--only', 'bassist,time'])
    if not c.that(not error, error):
        return
    a = form.load(j)
    if not form.form(c, a):
        return
    c.that('bassist' in a and a['bassist'], 'no bassist in the JSON')
    rows = events(s)
    ns = notes(c, rows)
    tracks = TRACKS + BAND
    head(c, a, rows, tracks)
    second_reader(c, rows, ns, s, tracks)
    line = [(n['at'], n['dur'], n['midi']) for n in a['bassist']]
    c.same(line, [(n[0], n[1], n[3]) for n in ns if n[2] == BASSIST], 'the bass line, by midicsv')
    c.same(line, [(n[0], n[1], n[3]) for n in mido_notes(s) if n[2] == BASSIST], 'the bass line, by mido')
    c.that(all(n[4] == {BASSIST: 5, TIME: 6}.get(n[2], n[4]) and (n[4] in (5, 6)) == (n[2] >= BASSIST) for n in ns),
           'notes of the company on other tracks than theirs')
    c.same(guitar(a), [n[:5] for n in ns if n[2] < BASSIST], 'the guitar')
    beats = [n for n in ns if n[2] == TIME]
    c.that(beats and {n[3] for n in beats} <= SOFT, f'percussion {sorted({n[3] for n in beats})}')
    last = a['bassist'][-1]['at'] if a['bassist'] else 0
    c.that(not beats or max(n[0] for n in beats) <= last, 'percussion after the last root')
    first = a['bars'][0]
    if first['label'] == '0':
        c.that(not beats or min(n[0] for n in beats) >= first['len'], 'percussion in the pick-up')
    told = {(tr, int(v[0]) + 1, int(v[1])) for tr, t, kind, v in rows if kind == 'Program_c' and t == 0}
    c.that({(5, BASSIST, ACOUSTIC_BASS), (6, TIME, STANDARD_KIT)} <= told, f'programs {sorted(told)}')

    rows = events(p)
    ns = notes(c, rows)
    levels(c, [n for n in ns if n[2] < BASSIST])
    loud = {who: [n[5] for n in ns if f(n)] for who, f in
            (('melody', lambda n: n[4] == 2), ('bassist', lambda n: n[2] == BASSIST), ('time', lambda n: n[2] == TIME))}
    if all(loud.values()):
        # 40 log10(v/127) dB: a fifth less velocity is four dB
        c.that(max(loud['bassist']) <= .85 * min(loud['melody']), f"bassist up to {max(loud['bassist'])}, the tune from {min(loud['melody'])}")
        c.that(max(loud['time']) < min(loud['bassist']), f"time up to {max(loud['time'])}, bassist from {min(loud['bassist'])}")
    line = [(n['at'], n['dur'], n['midi']) for n in form.load(k)['bassist']]  # in swing it may walk
    c.same(len(line), sum(n[2] == BASSIST for n in ns), 'notes of the bassist')
    far = [(x, n[0]) for x, n in zip(line, [n for n in ns if n[2] == BASSIST]) if x[2] != n[3] or abs(x[0] - n[0]) > 480]
    c.that(not far, f'bass notes far from their place: {far[:3]}')
    for path, keep in ((g, lambda n: n[2] < BASSIST), (b, lambda n: n[2] >= BASSIST)):
        c.same([(n[0],) + n[2:4] + n[5:] for n in ns if keep(n)], [(n[0],) + n[2:4] + n[5:] for n in notes(c, events(path))], f'notes of {os.path.basename(path)}')
    c.here = here


def counted_on(told, labels, choruses):
    """The sections of the sheet over several choruses: labels are those of the sheet's bars; bar 3 is 3/2 the second time,
    and counted on from chorus to chorus."""
    most = {}
    for label in labels:
        base, _, n = label.partition('/')
        most[base] = max(most.get(base, 1), int(n or 1))
    out = []
    for k in range(choruses):
        def named(label):
            base, _, n = label.partition('/')
            n = int(n or 1) + k * most[base]
            return base if n == 1 else f'{base}/{n}'
        out.append((f'chorus {k + 1}', named(labels[0])))
        out += [(name, named(label)) for name, label in told]
    return out


def formed(c, sheet, d, told, labels):
    """Markers of a whole form, by the bars of its JSON: introduction, choruses with their sections, ending."""
    s, j = os.path.join(d, 'f.mid'), os.path.join(d, 'f.json')
    error = write(sheet, [s, j], ['--feel', 'straight', '--no-spread', '--intro', 'vamp', '--choruses', '2', '--ending', 'tag', '--ritardando'])
    if not c.that(not error, error):
        return
    a = form.load(j)
    if not form.form(c, a):
        return
    at = {b['label']: b['at'] for b in a['bars']}
    want = [('introduction', 'i1')] + [x for x in counted_on(told, labels, 2) if x[1] in at]
    if 'e1' in at:
        want.append(('ending', 'e1'))
    markers, _ = straight(c, a, s)
    c.that(markers == [(at[label], name) for name, label in want], f'markers {markers} of the form, want {want}')
    c.that([(x['at'], x['name']) for x in a['sections']] == markers, f"sections {a['sections']} of the JSON, markers {markers}")
    rows = events(s)
    got = [(t, 60e6 / int(v[0])) for _, t, kind, v in rows if kind == 'Tempo']
    c.that([t for t, _ in got] == [m['at'] for m in a['tempi']] and all(abs(x / m['bpm'] - 1) < 1e-4 for (_, x), m in zip(got, a['tempi'])),
           f"tempi {got}, in the JSON {a['tempi']}")
    end = a['bars'][-1]['at'] + a['bars'][-1]['len']
    two = max(a['bars'][-2]['at'], 0)
    c.that(min(m['bpm'] for m in a['tempi'] if m['at'] >= two) <= 0.67 * max(m['bpm'] for m in a['tempi'] if m['at'] < end),
           f"no ritardando: {a['tempi']}")


def one(c, sheet, d):
    c.here = os.path.basename(sheet)
    s, j, p = (os.path.join(d, x) for x in ('s.mid', 's.json', 'p.mid'))
    error = write(sheet, [s, j], ['--feel', 'straight', '--no-spread']) or write(sheet, [p])
    if 'no chord symbols' in error:
        print(f'{c.here}: refused, it has no chord symbols')
        return None
    if not c.that(not error, error):
        return None
    try:
        a = form.load(j)
        if not form.form(c, a):
            return None
        markers, length = straight(c, a, s)
        swung = performed(c, a, p)
        voices(c, sheet, d, p)
        trio(c, sheet, d)
    except (ValueError, OSError, EOFError) as e:
        c.fail(f'unreadable: {e}')
        return None
    c.that(abs(length - swung) < 1, f'straight {length:.3f} s, performed {swung:.3f} s')
    return a, markers, length


def index(folder):
    """{file: its row} of the index.tsv beside the tunes, if there is one."""
    path = os.path.join(folder, 'index.tsv')
    if not os.path.exists(path):
        return {}
    with open(path, encoding='utf-8', newline='') as f:
        return {r['file']: r for r in csv.DictReader(f, delimiter='\t')}


def counted(c, a, row):
    """What was counted on the sheet without any program of ours."""
    last = a['bars'][-1]
    got = (a['key'], len(a['bars']), (last['at'] + last['len']) / 960, len(a['melody']), len(a['chords']))
    c.same(got, (row['key'], int(row['bars']), float(row['quarters']), int(row['notes']), int(row['chords'])), 'key, bars, quarters, notes, chords')


def main(sheets):
    c = Check('JSON and MIDI')
    rows = index(TUNES)
    c.that(set(rows) <= {os.path.basename(s) for s in sheets} or len(sheets) == 1, f'{TUNES}/index.tsv tells of files that are not checked')
    with tempfile.TemporaryDirectory() as d:
        for sheet in sheets:
            got = one(c, sheet, d)
            if not got:
                continue
            a, markers, length = got
            if os.path.dirname(os.path.abspath(sheet)) == TUNES and c.that(c.here in rows, 'not in index.tsv'):
                counted(c, a, rows[c.here])
            at = {b['label']: b['at'] for b in a['bars']}
            told = [(name, first) for name, first, _ in sections(sheet)]
            want = [(at.get(label), name) for name, label in told]
            c.that(markers == want, f'markers {markers}, sections of the sheet {want}')
            formed(c, sheet, d, told, [b['label'] for b in a['bars']])
        if sheets:  # a slower file is the same file, slower
            c.here = os.path.basename(sheets[0])
            slow = os.path.join(d, 'slow.mid')
            error = write(sheets[0], [slow], ['--feel', 'straight', '--no-spread', '--tempo', '60%'])
            if c.that(not error, error):
                first = one(c, sheets[0], d)
                ratio = mido.MidiFile(slow).length / first[2] if first else 0
                c.that(abs(ratio - 1 / 0.6) < 1e-4, f'at 60 % the file lasts {ratio:.5f} times as long')
    return c.done()


if __name__ == '__main__':
    sys.exit(main(sys.argv[1:]))
