"""Is this object what `write --out x.json` promises? Own reading of the form; nothing of the program's code is used."""
import json
import re
import sys

from common import Check

INT = 'a whole number'
NAME = r'[A-G](bb?|##?)?'
SYMBOL = re.compile(rf'^(N\.C\.|{NAME}[^\s]*)$')
SCALE = re.compile(rf'^({NAME} (maj6dim|min6dim|7dim|7b5dim) (six|dim))?$')
KEY = re.compile(rf'^{NAME}m?$')
LABEL = re.compile(r'^[^\s/]+(/[0-9]+)?$')
VOICES = ('melody', 'inner', 'bass')
KINDS = ('introduction', 'chorus', 'section', 'ending')
ENDS = ('meant', 'string', 'finger', 'shift', 'hand')

TOP = {'title': str, 'key': str, 'tempo': float, 'ticksPerQuarter': int, 'transposition': int, 'tuning': [int], 'capo': int,
       'bars': {'label': str, 'at': int, 'len': int, 'beat': int},
       'sections': {'kind': str, 'name': str, 'from': str, 'to': str, 'at': int, 'len': int},
       'tempi': {'at': int, 'bpm': float},
       'melody': {'at': int, 'dur': int, 'midi': int},
       'chords': {'at': int, 'symbol': str},
       'grips': {'at': int, 'bar': str, 'beat': float, 'symbol': str, 'name': str, 'scale': str, 'borrowed': [str],
                 'frets': [int], 'fingers': [int], 'texture': str, 'reason': str},
       'notes': {'at': int, 'dur': int, 'midi': int, 'string': int, 'fret': int, 'finger': int, 'voice': str, 'fill': bool,
                 'ends': str, 'early': int},
       'letGo': {'at': int, 'midi': int, 'early': int, 'reason': str},
       'warnings': [str]}
BASSIST = {'bassist': {'at': int, 'dur': int, 'midi': int}}  # after the notes, in a trio only
LOWEST, HIGHEST = 28, 55  # the bass player's E1 to G3


def load(path):
    """The object in a file; a key told twice or a number that is none is an error."""
    def pairs(items):
        d = dict(items)
        if len(d) != len(items):
            raise ValueError(f'a key stands twice among {[k for k, _ in items]}')
        return d

    def constant(c):
        raise ValueError(f'{c} is no number')

    with open(path, encoding='utf-8') as f:
        return json.load(f, object_pairs_hook=pairs, parse_constant=constant)


def typed(c, where, value, want):
    if want is int:  # a tick is written as 960, never as 960.0
        return c.that(type(value) is int, f'{where} is {value!r}, not a whole number')
    if want is float:
        return c.that(type(value) in (int, float), f'{where} is {value!r}, not a number')
    if isinstance(want, list):
        return c.that(type(value) is list, f'{where} is {value!r}, not a list') and \
            all([typed(c, f'{where}[{i}]', v, want[0]) for i, v in enumerate(value)])
    if isinstance(want, dict):
        if not c.that(type(value) is list, f'{where} is {value!r}, not a list'):
            return False
        return all([keyed(c, f'{where}[{i}]', v, want) for i, v in enumerate(value)])
    return c.that(type(value) is want, f'{where} is {value!r}, not {want.__name__}')


def keyed(c, where, value, want):
    if not c.that(type(value) is dict, f'{where} is {value!r}, not an object'):
        return False
    ok = c.that(list(value) == list(want), f'{where} has the keys {list(value)}, not {list(want)}')
    return ok and all([typed(c, f'{where}.{k}', value[k], w) for k, w in want.items()])


def shape(a):
    """The keys in their order."""
    if type(a) is not dict or 'bassist' not in a:
        return TOP
    keys = {}
    for k, v in TOP.items():
        keys[k] = v
        if k == 'notes':
            keys.update(BASSIST)
    return keys


def form(c, a):
    """Checks types first, then what the words of the form mean."""
    if not keyed(c, 'x.json', a, shape(a)):
        return False
    c.that(a['ticksPerQuarter'] == 960, f"ticksPerQuarter {a['ticksPerQuarter']}")
    c.that(KEY.match(a['key']), f"key {a['key']!r}")
    c.that(10 <= a['tempo'] <= 1000, f"tempo {a['tempo']}")
    tuning, capo, strings = a['tuning'], a['capo'], len(a['tuning'])
    c.that(4 <= strings <= 8 and all(0 <= p < 128 for p in tuning) and capo >= 0, f'tuning {tuning}, capo {capo}')

    at = 0
    for b in a['bars']:
        c.that(b['at'] == at, f"bar {b['label']} at {b['at']}, the one before it ends at {at}")
        c.that(b['len'] > 0 and b['beat'] > 0, f"bar {b['label']}: length {b['len']}, beat {b['beat']}")
        c.that(LABEL.match(b['label']), f"bar label {b['label']!r}")
        at = b['at'] + b['len']
    end = at
    c.that(a['bars'], 'no bars')
    labels = [b['label'] for b in a['bars']]
    c.that(len(set(labels)) == len(labels), 'two bars of one label')

    where = {b['label']: b for b in a['bars']}
    marks = [m['at'] for m in a['tempi']]
    c.that(marks and marks[0] == 0 and marks == sorted(set(marks)) and marks[-1] < end, f'tempi at {marks}')
    c.that(a['tempi'] and a['tempi'][0]['bpm'] == a['tempo'] and all(5 <= m['bpm'] <= 1000 for m in a['tempi']), f"tempo {a['tempo']}, tempi {a['tempi'][:3]}")
    order = []
    for s in a['sections']:
        t = f"{s['kind']} {s['name']!r}"
        c.that(s['kind'] in KINDS and s['name'], f'{t}: kind or name')
        first, last = where.get(s['from']), where.get(s['to'])
        if c.that(first and last, f"{t}: from bar {s['from']} to {s['to']}, which are not there"):
            c.same((s['at'], s['at'] + s['len']), (first['at'], last['at'] + last['len']), f'where {t} lies')
            order.append((s['at'], s['kind'] != 'chorus'))
    c.that(order == sorted(order), 'sections are not in order, a chorus before what begins with it')
    for kind in ('chorus', 'introduction', 'ending'):
        spans = [s for s in a['sections'] if s['kind'] == kind]
        c.that(kind == 'chorus' or len(spans) <= 1, f'{len(spans)} times {kind}')
        for x, y in zip(spans, spans[1:]):
            c.that(x['at'] + x['len'] == y['at'], f"{x['name']} and {y['name']} do not follow each other")

    for k in ('melody', 'chords', 'grips', 'notes'):
        times = [x['at'] for x in a[k]]
        c.that(times == sorted(times), f'{k} are not in order of time')
        c.that(all(0 <= t < end for t in times), f'{k} lie outside the bars')
    for m in a['melody']:
        c.that(m['dur'] > 0 and 0 <= m['midi'] < 128, f"melody at {m['at']}: {m}")
    for x, y in zip(a['melody'], a['melody'][1:]):
        c.that(x['at'] + x['dur'] <= y['at'], f"the melody has two notes at {y['at']}")
    for ch in a['chords']:
        c.that(SYMBOL.match(ch['symbol']), f"chord at {ch['at']}: {ch['symbol']!r}")

    for g in a['grips']:
        b = where.get(g['bar'])
        if c.that(b, f"grip at {g['at']} in bar {g['bar']!r}, which is not there"):
            c.near(g['at'], b['at'] + (g['beat'] - 1) * 960, 1, f"grip in bar {g['bar']}: beat {g['beat']}")
            c.that(b['at'] <= g['at'] < b['at'] + b['len'], f"grip at {g['at']} is not in bar {g['bar']}")
        c.that(g['symbol'] == '' or SYMBOL.match(g['symbol']), f"grip at {g['at']}: symbol {g['symbol']!r}")
        c.that(SCALE.match(g['scale']), f"grip at {g['at']}: scale {g['scale']!r}")
        c.that(len(g['frets']) == len(g['fingers']) == strings, f"grip at {g['at']}: {g['frets']} {g['fingers']} on {strings} strings")
        for f, n in zip(g['frets'], g['fingers']):
            c.that(f >= -1 and 0 <= n <= 4 and (n == 0) == (f <= 0), f"grip at {g['at']}: fret {f} with finger {n}")

    for n in a['notes']:
        t = f"note at {n['at']} on string {n['string']}"
        if not c.that(1 <= n['string'] <= strings, f'{t}: no such string'):
            continue
        c.that(n['dur'] > 0, f"{t}: length {n['dur']}")
        c.that(n['midi'] == tuning[strings - n['string']] + capo + n['fret'], f"{t}: fret {n['fret']} does not sound {n['midi']}")
        c.that(n['fret'] >= 0 and 0 <= n['finger'] <= 4 and (n['finger'] == 0) == (n['fret'] == 0), f"{t}: fret {n['fret']} with finger {n['finger']}")
        c.that(n['voice'] in VOICES, f"{t}: voice {n['voice']!r}")
        c.that(n['ends'] in ENDS and n['early'] >= 0 and (n['early'] > 0) == (n['ends'] != 'meant'), f"{t}: ends {n['ends']!r}, {n['early']} early")
    for s in range(1, strings + 1):
        line = [n for n in a['notes'] if n['string'] == s]
        for x, y in zip(line, line[1:]):
            c.that(x['at'] + x['dur'] <= y['at'], f"string {s} has two notes at {y['at']}")

    line = a.get('bassist', [])
    for n in line:
        c.that(0 <= n['at'] and n['dur'] > 0 and n['at'] + n['dur'] <= end, f'bassist: {n} lies outside the bars')
        c.that(LOWEST <= n['midi'] <= HIGHEST, f"bassist at {n['at']}: pitch {n['midi']}")
    for x, y in zip(line, line[1:]):
        c.that(x['at'] + x['dur'] <= y['at'], f"the bassist has two notes at {y['at']}")
        c.that(abs(x['midi'] - y['midi']) <= 12, f"the bassist leaps {abs(x['midi'] - y['midi'])} semitones at {y['at']}")

    played = {(n['at'], n['midi']) for n in a['notes'] if n['voice'] == 'melody' and not n['fill']}
    read = {(m['at'], m['midi']) for m in a['melody']}
    written = {m['at']: m['dur'] for m in a['melody']}
    over = {n['at'] for n in a['notes'] if n['voice'] == 'melody' and n['fill']}  # where an ending takes the top from the tune
    short = []
    for n in a['notes']:
        if n['voice'] == 'melody' and not n['fill'] and n['at'] in written:
            rings = n['dur'] + n['early']
            c.that(rings == written[n['at']] or rings < written[n['at']] and n['at'] + rings in over, f"the tune's note at {n['at']} is written {written[n['at']]}, sounds {n['dur']} and is {n['early']} early")
            if n['early']:
                short.append((n['at'], n['midi'], n['early']))
    c.that([(g['at'], g['midi'], g['early']) for g in a['letGo']] == short and all(g['reason'] for g in a['letGo']),
           'letGo does not list the notes of the tune that stop early')
    c.that(played == read, f'the tune as played is not the tune as read: {sorted(played ^ read)[:3]}')
    return True


if __name__ == '__main__':
    check = Check('form')
    for path in sys.argv[1:]:
        check.here = path
        try:
            form(check, load(path))
        except ValueError as e:
            check.fail(f'no JSON: {e}')
    sys.exit(check.done())
