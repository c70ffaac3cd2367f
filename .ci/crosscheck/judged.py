#!/usr/bin/python3
"""The judge of the shared data (THUMBLINE_DATA) over both corpora, the demo and the situations.

The judge prints figures; here stands which of them must be reached. With --report its whole tables are printed and
nothing is demanded.
"""
import os
import re
import sys
import tempfile

import readers
from common import DATA, DEMO, PROGRAM, Check, files, run, write

# Figures that no tune may miss, and shares of a corpus added up, in percent.
NEVER = ('tune: notes missing', 'tune: covered by a higher note', 'hand: moments no hand can hold',
         'hand: two notes on a string', 'hand: pitch is not string + fret', 'hand: fingers that make no hand')
READ = 'tune: as an independent reader has it'
AT_LEAST = {READ: 98, 'texture: notes under a beat left bare': 60}
# All that the judge says of tune, hand, ear and harmony must lie inside what it wants.
INSIDE = ('tune:', 'hand:', 'ear:', 'harmony:')
ARRANGED = 90  # percent of the sheets of a corpus
ROWS = 80      # percent of the situations, and of the manners

# abc2midi, the referee for ABC, plays R:Hornpipe with its eighths at two to one; the written rhythm is even (ABC 2.1:
# R: is a hint for players), so it gets the sheets without their R: lines. A sheet with a construct that it is known to play
# otherwise (readers.tsv) does not count for the reading.

LINE = re.compile(r'^(\S.*?)\s+(-?[0-9.]+) %\s+want .*\((\d+) of (\d+)\)$')


def table(text):
    """{name of the figure: (percent, part, whole)}"""
    return {m[1]: (float(m[2]), int(m[3]), int(m[4])) for m in map(LINE.match, text.splitlines()) if m}


def judge(args):
    r = run([sys.executable, os.path.join(DATA, 'judge', 'judge.py')] + args, timeout=1800)
    if r.returncode not in (0, 1) or not r.stdout:
        sys.exit(f'the judge failed:\n{r.stderr}')
    return r.stdout


def figures(c, where, text, reading=True):
    c.here = where
    t = table(text)
    for line in text.splitlines():
        if line.startswith(INSIDE) and '<--' in line and (reading or not line.startswith(READ)):
            c.that(False, f'outside what the judge wants: {line}')
    # Percent are printed rounded; the counts are exact.
    for name in NEVER:
        if c.that(name in t, f'{name}: not measured'):
            c.that(t[name][1] == 0, f'{name}: {t[name][1]} of {t[name][2]}')
    for name, least in AT_LEAST.items():
        if name == READ and not reading:
            continue
        if c.that(name in t, f'{name}: not measured'):
            c.that(100 * t[name][1] >= least * t[name][2], f'{name}: {t[name][0]} %, wanted at least {least}')
    c.that('NOT MEASURED' not in text, 'ABC sheets without a referee (Debian package abcmidi)')


def even(sheets, folder):
    """Copies of ABC sheets without their R: lines."""
    out = []
    for f in sheets:
        g = os.path.join(folder, os.path.basename(f))
        with open(f, 'rb') as r, open(g, 'wb') as w:
            w.writelines(l for l in r if not l.startswith(b'R:'))
        out.append(g)
    return out


def corpus(c, name, sheets, report):
    text = judge(['--all', PROGRAM] + sheets)
    abc = sheets[0].endswith('.abc')
    if report:
        print(f'== {name}\n{text}')
    figures(c, name, text, reading=not abc)
    if abc:
        with tempfile.TemporaryDirectory() as d:
            known = [k for k in readers.table() if k.other == 'abc2midi' and k.take == 'sheet']
            agreed = [f for f in sheets if not any(k.met(f) for k in known)]
            told = judge(['--all', PROGRAM] + even(agreed, d))
        t = table(told)
        print(f'{name}: read as the referee has it {table(text)[READ][0]} %; without R: and {len(sheets) - len(agreed)} sheets on which it '
              f'is known to differ {t[READ][0]} %')
        c.that(100 * t[READ][1] >= AT_LEAST[READ] * t[READ][2], f'{READ}: {t[READ][0]} % of the sheets on which the standard is followed')
    m = re.search(r'^(\d+) arranged, (\d+) not$', text, re.M)
    if c.that(m, 'how many were arranged is not told'):
        yes, no = int(m[1]), int(m[2])
        lost = [l for l in text.splitlines() if l.startswith('not arranged:')]
        for l in lost:
            print(f'{name}: {l}')
        c.that(100 * yes >= ARRANGED * (yes + no), f'{yes} of {yes + no} sheets are arranged, wanted {ARRANGED} %')


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
    report = args == ['--report']
    if not DATA:
        print('judge: skipped, THUMBLINE_DATA is not set (it names the folder of the shared data)')
        return 1 if report else 0
    c = Check('judge')
    corpus(c, 'lead sheets in MusicXML', files(os.path.join(DATA, 'corpus', 'leadsheets'), ('.mxl', '.musicxml', '.xml')), report)
    corpus(c, 'lead sheets in ABC', files(os.path.join(DATA, 'corpus', 'abc'), ('.abc',)), report)
    with tempfile.TemporaryDirectory() as d:
        j = os.path.join(d, 'demo.json')
        error = write(DEMO, [j])
        c.here = 'the built-in tune'
        if c.that(not error, error):
            text = judge([j, DEMO])
            if report:
                print(f'== the built-in tune\n{text}')
            figures(c, 'the built-in tune', text)
    situations(c, report)
    status = c.done()
    return 0 if report else status


if __name__ == '__main__':
    sys.exit(main(sys.argv[1:]))
