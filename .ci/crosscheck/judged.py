#!/usr/bin/python3
"""The judge of the shared data (THUMBLINE_DATA) over both corpora, the demo and the situations, at each density.

The judge measures; here stands which figures must be reached. Sparse and full are tried on every fourth sheet, with
--long on all. With --report the whole tables are printed, over all sheets, and nothing is demanded.
"""
import collections
import concurrent.futures
import json
import os
import re
import sys
import tempfile

import readers
import texture
from common import DATA, DEMO, DENSITIES, PROGRAM, Check, files, run, write

# Figures that no tune may miss, and shares of a corpus added up, in percent.
NEVER = ('tune: notes missing', 'tune: covered by a higher note', 'hand: moments no hand can hold',
         'hand: two notes on a string', 'hand: pitch is not string + fret', 'hand: fingers that make no hand')
READ = 'tune: as an independent reader has it'
AT_LEAST = {READ: 98, 'texture: a figure lasts': 50}
# What the judge says must lie inside what it wants: all of it at the density that nobody has to ask for. A full
# arrangement has other textures, and may walk more in its bass; a sparse one leaves a chord out where there are many.
# Of a part of the sheets, at sparse and full, only NEVER, what is added and the order are asked: shares want the whole.
INSIDE = {'sparse': ('tune: notes', 'tune: covered', 'hand:'), 'full': ('tune:', 'hand:', 'ear:'),
          'medium': ('tune:', 'hand:', 'ear:', 'harmony:', 'texture:', 'own:')}
ADDED = {'sparse': (35, 65), 'full': (130, 200)}  # percent of what medium adds
ARRANGED = 90  # percent of the sheets of a corpus
ROWS = 80      # percent of the situations, and of the manners
PART = 4       # every so many sheets are a part that is quick to try

# abc2midi, the referee for ABC, plays R:Hornpipe with its eighths at two to one; the written rhythm is even (ABC 2.1:
# R: is a hint for players), so it gets the sheets without their R: lines. A sheet with a construct that it is known to play
# otherwise (readers.tsv) does not count for the reading.


def judge():
    if os.path.join(DATA, 'judge') not in sys.path:
        sys.path.append(os.path.join(DATA, 'judge'))
    import judge as module
    return module


def even(sheet, folder):
    """A copy of an ABC sheet without its R: lines."""
    out = os.path.join(folder, os.path.basename(sheet))
    with open(sheet, 'rb') as r, open(out, 'wb') as w:
        w.writelines(l for l in r if not l.startswith(b'R:'))
    return out


def arranged(job):
    """(sheet, density, known to be read otherwise) -> (its figures, {figure: bars}), or None for a sheet that is rightly
    refused, or what went wrong."""
    sheet, density, differs = job
    one = judge().one
    with tempfile.TemporaryDirectory() as d:
        j = os.path.join(d, 'x.json')
        error = write(sheet, [j], ['--density', density])
        if error:
            import abcmelody
            return None if sheet.endswith('.abc') and not abcmelody.facts(sheet)['symbols'] else error
        with open(j, encoding='utf-8') as f:
            a = json.load(f)
        r = one(a, sheet)
        if sheet.endswith('.abc') and not differs and density == 'medium':
            import abcmelody
            melody = abcmelody.melody(even(sheet, d))
            if melody is not None:
                r['even_same'], r['even_read'] = judge().same_melody(a, {'melody': melody})
        own, where = texture.measure(a, texture.phrases(sheet))
        return r + own, dict(where)


def percent(t, part, whole):
    return 100 * t[part] / t[whole] if t[whole] else 0


def figures(c, t, density, reading=True, shares=True):
    """Demands of the figures of a density."""
    c.that(not t['no_referee'], 'ABC sheets without a referee (Debian package abcmidi)')
    for name, part, whole, want in judge().SHARES + texture.FIGURES:
        text = f'{name}: {percent(t, part, whole):.2f} % ({t[part]} of {t[whole]}) at {density}, wanted'
        if name in NEVER and c.that(t[whole], f'{name}: not measured'):
            c.that(t[part] == 0, f'{text} none')
        if not shares or not t[whole] or name == READ and not reading:
            continue
        inside = judge().holds(percent(t, part, whole), want) and 100 * t[part] >= AT_LEAST.get(name, 0) * t[whole]
        if name.startswith(INSIDE[density]):
            c.that(inside, f'{text} {want}')


def against_medium(c, got):
    """How much is added, by density, in the sum and in every tune."""
    whole = [s for s in got['medium'] if all(s in got[d] for d in DENSITIES)]
    if not c.that(whole, 'no sheet at all densities'):
        return
    n = {d: [got[d][s][0]['own_added'] for s in whole] for d in DENSITIES}
    bars = sum(got['medium'][s][0]['own_bars'] for s in whole)
    print(f'{c.here}: added per bar ' + ', '.join(f'{sum(n[d]) / bars:.2f} {d}' for d in DENSITIES) + f', over {len(whole)} sheets')

    for d, (low, high) in ADDED.items():
        share = [100 * x / y if y else 0 for x, y in zip(n[d], n['medium'])]
        total = 100 * sum(n[d]) / max(1, sum(n['medium']))
        outside = [f'{os.path.basename(s)} {x:.0f}' for s, x in zip(whole, share) if not low <= x <= high]
        print(f'{c.here}: {d} adds {total:.1f} % of what medium adds, {min(share):.0f} to {max(share):.0f} % in a tune; outside {low}-{high}: '
              f'{len(outside)} {" ".join(outside[:8])}')
        c.that(low <= total <= high, f'{d} adds {total:.1f} % of what medium adds, wanted {low} to {high}')
    wrong = [os.path.basename(s) for s, x, y, z in zip(whole, *(n[d] for d in DENSITIES)) if not x < y < z]
    c.that(not wrong, f'sparse adds less than medium and medium less than full: not in {len(wrong)} of {len(whole)}: {" ".join(wrong[:8])}')


def show(where, tot, got):
    """The tables side by side."""
    print(f'== {where}\n{"":66s}' + ''.join(f'{d:>10s}' for d in tot) + '  wanted at medium')
    for name, part, whole, want in judge().SHARES + texture.FIGURES:
        cells = ''
        for t in tot.values():
            v = percent(t, part, whole)
            cells += f'{v:8.2f}{" " if judge().holds(v, want) else "<"} ' if t[whole] else f'{"-":>8s}  '
        m = tot['medium']
        print(f'{name:66s}{cells}  {want:8s} ({m[part]} of {m[whole]})')
    print(f'{"ear: inner voices move, semitones":66s}' + ''.join(f'{t["inner_motion"] / max(1, t["inner_steps"]):8.2f}  ' for t in tot.values()))
    print(f'{"same rhythm five bars running, times":66s}' + ''.join(f'{t["long_runs"]:8d}  ' for t in tot.values()))
    print(f'{"notes added per bar":66s}' + ''.join(f'{t["own_added"] / max(1, t["own_bars"]):8.2f}  ' for t in tot.values()))
    for figure, what in (('runs', 'the same rhythm at medium'), ('ends', 'no room to breathe at medium')):
        told = [f'{os.path.basename(s)} {" ".join(w[figure])}' for s, (_, w) in got['medium'].items() if figure in w]
        print(f'{what}: {"; ".join(told) or "nowhere"}')


def corpus(c, pool, name, sheets, report, whole):
    c.here = name
    known = [k for k in readers.table() if k.other == 'abc2midi' and k.take == 'sheet']
    differs = {s: s.endswith('.abc') and any(k.met(s) for k in known) for s in sheets}
    jobs = [(s, d, differs[s]) for i, s in enumerate(sheets) for d in DENSITIES if d == 'medium' or whole or i % PART == 0]
    got, lost = {d: {} for d in DENSITIES}, {d: set() for d in DENSITIES}
    for (s, d, _), r in zip(jobs, pool.map(arranged, jobs)):
        if isinstance(r, str):
            print(f'{name}: not arranged at {d}: {r[:160]}')
            lost[d].add(s)
        elif r:
            got[d][s] = r
    for d in DENSITIES:
        for s in sorted(lost[d] - lost['medium']):
            c.that(False, f'{os.path.basename(s)} is arranged at medium, not at {d}')
    tot = {d: sum((r for r, _ in got[d].values()), collections.Counter()) for d in DENSITIES}
    if report:
        show(name, tot, got)
    yes = len(got['medium'])
    asked = yes + len(lost['medium'])
    c.that(yes and 100 * yes >= ARRANGED * asked, f'{yes} of {asked} sheets are arranged, wanted {ARRANGED} %')
    abc = sheets[0].endswith('.abc')
    for d in DENSITIES:
        figures(c, tot[d], d, reading=not abc, shares=d == 'medium' or whole)
    if abc:
        m = tot['medium']
        print(f'{name}: read as the referee has it {percent(m, "read_same", "read"):.2f} %; without R: and {sum(differs.values())} sheets on which it is '
              f'known to differ {percent(m, "even_same", "even_read"):.2f} %')
        c.that(m['even_read'] and 100 * m['even_same'] >= AT_LEAST[READ] * m['even_read'],
               f'{READ}: {percent(m, "even_same", "even_read"):.2f} % of the sheets on which the standard is followed')
    against_medium(c, got)


def situations(c, report):
    r = run([sys.executable, os.path.join(DATA, 'judge', 'exam.py'), '--tsv', os.path.join(DATA, 'judge', 'situations', 'situations.tsv'),
             '--exe', PROGRAM, '--need', str(ROWS)], timeout=600)
    if report:
        print(f'== situations\n{r.stdout}')
    c.here = 'situations'
    for kind in ('situations', 'manners'):
        m = re.search(rf'^{kind}: (\d+)/(\d+) rows hold', r.stdout, re.M)
        if c.that(m, f'{kind}: not measured ({r.stderr.strip()[-200:]})'):
            c.that(int(m[2]) > 0 and 100 * int(m[1]) >= ROWS * int(m[2]), f'{kind}: {m[1]} of {m[2]} rows hold, wanted {ROWS} %')


def main(args):
    report, whole = '--report' in args, bool({'--report', '--long'} & set(args))
    if not DATA:
        print('judge: skipped, THUMBLINE_DATA is not set (it names the folder of the shared data)')
        return 1 if report else 0
    c = Check('judge')
    with concurrent.futures.ProcessPoolExecutor() as pool:
        corpus(c, pool, 'lead sheets in MusicXML', files(os.path.join(DATA, 'corpus', 'leadsheets'), ('.mxl', '.musicxml', '.xml')), report, whole)
        corpus(c, pool, 'lead sheets in ABC', files(os.path.join(DATA, 'corpus', 'abc'), ('.abc',)), report, whole)
        corpus(c, pool, 'the built-in tune', [DEMO], report, True)
    situations(c, report)
    status = c.done()
    return 0 if report else status


if __name__ == '__main__':
    sys.exit(main(sys.argv[1:]))
