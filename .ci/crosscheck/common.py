"""What the cross-checks share: running the program, and counting what was compared and what disagreed."""
import array
import os
import re
import subprocess
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
PROGRAM = os.environ.get('THUMBLINE') or os.path.join(ROOT, 'thumbline')
DATA = os.environ.get('THUMBLINE_DATA') or ''
DEMO = os.path.join(ROOT, 'cmd', 'thumbline', 'demo.abc')
TUNES = os.path.join(ROOT, 'testdata', 'tunes')
DENSITIES = ('sparse', 'medium', 'full')
RATE = 48000  # Hz, of sound where nothing else is asked for


def run(args, timeout=120, **kw):
    """The finished process, output as text."""
    return subprocess.run(args, capture_output=True, text=True, timeout=timeout, **kw)


def write(sheet, outs, flags=()):
    """thumbline write SHEET --out ... ; -> error text, empty when it worked."""
    args = [PROGRAM, 'write', sheet] + [x for o in outs for x in ('--out', o)] + list(flags)
    r = run(args)
    return '' if r.returncode == 0 else (r.stderr.strip() or f'status {r.returncode} without a word')


def samples(path, channels=1):
    """A WAV file as floats by ffmpeg, its channels in turn or mixed into one."""
    raw = subprocess.run(['ffmpeg', '-v', 'error', '-nostdin', '-i', path, '-ac', str(channels), '-f', 'f32le', '-'], capture_output=True, check=True).stdout
    return floats(raw)


def floats(raw):
    """Little-endian 32-bit floats."""
    x = array.array('f', raw)
    if sys.byteorder == 'big':
        x.byteswap()
    return x


def told(sheet, what):
    """What `check` says of a sheet under a heading, on one line."""
    m = re.search(rf'^{what}  +(.*(?:\n  .*)*)', run([PROGRAM, 'check', sheet]).stdout, re.M)
    return re.sub(r'\n +', ' ', m[1]) if m else ''


def sections(sheet):
    """[(name, label of its first bar, of its last)] as `check` prints them; a name may come several times."""
    text = told(sheet, 'sections')
    out = []
    for entry in text.split(', ') if text and not text.startswith('one, without a name') else ():
        name, _, span = entry.rpartition(' ')
        first, _, last = span.partition('-')
        out.append((re.sub(r'/[0-9]+$', '', name), first, last or first))
    return out


def files(folder, endings):
    """The files of a folder, in order; a folder without any is a mistake of the check."""
    got = sorted(os.path.join(folder, f) for f in os.listdir(folder) if f.endswith(endings))
    if not got:
        sys.exit(f'{folder}: no {" ".join(endings)} in it')
    return got


class Check:
    """Counts comparisons; keeps what disagreed."""

    def __init__(self, what):
        self.what, self.n, self.bad, self.here = what, 0, [], ''

    def that(self, ok, text):
        self.n += 1
        if not ok:
            self.fail(text)
        return bool(ok)

    def same(self, ours, theirs, text):
        return self.that(ours == theirs, f'{text}: {theirs!r} there, {ours!r} in the JSON')

    def near(self, ours, theirs, by, text):
        return self.that(abs(ours - theirs) <= by, f'{text}: {theirs:.6g} there, {ours:.6g} in the JSON')

    def fail(self, text):
        self.bad.append(f'{self.here}: {text}' if self.here else text)

    def done(self):
        for b in self.bad[:20]:
            print(f'DISAGREES  {b}')
        if len(self.bad) > 20:
            print(f'... and {len(self.bad) - 20} more')
        if not self.n:
            print(f'{self.what}: nothing was compared')
            return 1
        print(f'{self.what}: {self.n} comparisons, {len(self.bad)} disagree')
        return 1 if self.bad else 0
