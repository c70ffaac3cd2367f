#!/usr/bin/python3
"""Every command that README.md prints is run, and must print what stands below it.

A line of "..." stands for lines left out. With --update the lines are written anew: each piece between two gaps keeps its
first line, by which it is found, and its number of lines; the last goes on to the end. Commands that play are run with --long, through the null sink of
the shared data.
"""
import os
import re
import shlex
import sys
import tempfile

from common import DATA, PROGRAM, ROOT, Check, run

README = os.path.join(ROOT, 'README.md')
BLOCK = re.compile(r'^```console\n(.*?)^```$', re.M | re.S)


def commands(block):
    """[(command, [lines below it])]"""
    out = []
    for line in block.splitlines():
        if line.startswith('$ '):
            out.append((line[2:], []))
        elif out:
            out[-1][1].append(line)
    return out


def pieces(lines):
    out = [[]]
    for l in lines:
        if l.strip() == '...':
            out.append([])
        else:
            out[-1].append(l)
    return out


def bare(lines):
    """Without the costs at the end of a reason: they change with every weight, and nobody reads them here."""
    return [re.sub(r' \[[^]]*[0-9]\]$', '', l) for l in lines]


def at(piece, there, start):
    """Where the lines of a piece stand, one after the other, from start on; -1 when nowhere."""
    piece, there = bare(piece), bare(there)
    return next((i for i in range(start, len(there) - len(piece) + 1) if there[i:i + len(piece)] == piece), -1)


def execute(command, d):
    """What a command line prints to the terminal; None when it is not run here."""
    command = command.split(' # ')[0]
    args = shlex.split(command)
    if args[0] == 'make' or args[0].startswith('sudo') or args[0] == 'apt':
        return None
    plays = args[:1] == ['./thumbline'] and args[1] in ('hear', 'loop')
    if plays and (not DATA or '--long' not in sys.argv):
        return None
    prefix = shlex.quote(os.path.join(DATA, 'devices', 'null-sink.sh')) + ' ' if plays else ''
    r = run(['bash', '-c', f'{prefix}{command} 2>&1'], cwd=d, timeout=300)
    return r.returncode, [l.rstrip() for l in r.stdout.splitlines()]


def renewed(lines, there):
    """The same abridgement of another output."""
    out, start, last = [], 0, len(pieces(lines)) - 1
    for i, p in enumerate(pieces(lines)):
        if i:
            out.append('...')
        if not p:
            continue
        k = at(p[:1], there, start)
        if k < 0:
            sys.exit(f'--update: no line {p[0]!r} in the output any more')
        n = len(p) if i < last and k + len(p) < len(there) else len(there) - k
        out += there[k:k + n]
        start = k + n
    return out


def main():
    c = Check('README')
    with open(README, encoding='utf-8') as f:
        text = f.read()
    skipped = []
    with tempfile.TemporaryDirectory() as d:
        os.symlink(PROGRAM, os.path.join(d, 'thumbline'))
        os.symlink(os.path.join(ROOT, 'testdata'), os.path.join(d, 'testdata'))

        def block(m):
            out = ''
            for command, lines in commands(m[1]):
                c.here = command
                got = execute(command, d)
                out += f'$ {command}\n'
                if got is None:
                    skipped.append(command)
                else:
                    status, there = got
                    told = re.search(r'# status (\d)$', command)
                    c.that(status == (int(told[1]) if told else 0), f'status {status}: {there[-1:]}')
                    if '--update' in sys.argv:
                        lines = renewed(lines, there)
                    start = 0
                    for p in pieces(lines):
                        if p:
                            k = at(p, there, start)
                            c.that(k >= 0, f'does not print (make README true with .ci/crosscheck/readme.py --update, and read it):\n    ' + '\n    '.join(p[:12]))
                            start = max(k, 0) + len(p)
                    whole = '...' not in [l.strip() for l in lines] and 'interrupted' not in ''.join(there)
                    c.that(not whole or bare(there) == bare(lines), 'prints something else than is shown, and no "..." says so')
                out += ''.join(l + '\n' for l in lines)
            return f'```console\n{out}```'

        new = BLOCK.sub(block, text)
    if '--update' in sys.argv and new != text:
        with open(README, 'w', encoding='utf-8') as f:
            f.write(new)
        print('README.md was written anew: read it')
    if skipped:
        print('README: not run here: ' + '; '.join(skipped))
    return c.done()


if __name__ == '__main__':
    sys.exit(main())
