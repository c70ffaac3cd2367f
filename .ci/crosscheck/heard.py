"""What a sound server is given against what the WAV file has: the tune heard live is the tune that is written.

The server plays into a sink that is not there (null-sink.sh of the shared data), which is recorded.
"""
import array
import os
import sys
import tempfile

from common import DATA, DEMO, PROGRAM, RATE, Check, run, samples, write
from live import missing


def sink(args, timeout=120):
    """A command with the sink as its sound server."""
    return run([os.path.join(DATA, 'devices', 'null-sink.sh')] + args, timeout=timeout)


def sounding(x):
    """Without silence: a busy machine leaves holes of it, and a recorder begins before the sound does."""
    out, i, hole = array.array('f'), 0, 32
    while i < len(x):
        j = i
        while j < len(x) and x[j] == 0:
            j += 1
        if j - i < hole:
            out.extend(x[i:j])
        i = j
        while j < len(x) and x[j] != 0:
            j += 1
        out.extend(x[i:j])
        i = j
    return out


def rms(x):
    return (sum(v * v for v in x) / max(1, len(x))) ** .5


def same_sound(c, d, flags):
    c.here = 'hear ' + ' '.join(flags)
    live, still = os.path.join(d, 'live.wav'), os.path.join(d, 'still.wav')
    for _ in range(3):  # a server starved by other work may be given up: that is right, and not what is asked here
        r = sink(['-w', live, PROGRAM, 'hear', DEMO] + flags)
        if 'takes no more sound' not in r.stderr:
            break
    if not c.that(r.returncode == 0, f'status {r.returncode}: {r.stderr.strip()}'):
        return
    error = write(DEMO, [still], flags)
    if not c.that(not error, error):
        return
    x, y = sounding(samples(live)), sounding(samples(still))
    # The first and last samples may be lost among silence: lay one over the other where they fit best.
    n, step, reach = min(RATE, len(x) - 200, len(y) - 200), 5, 64
    if not c.that(n > RATE // 2, f'{len(x) / RATE:.2f} s were heard, {len(y) / RATE:.2f} s written'):
        return
    at = max(range(-reach, reach), key=lambda k: sum(x[reach + k + m] * y[reach + m] for m in range(0, n, step)))
    x, y = x[max(at, 0):], y[max(-at, 0):]
    length = min(len(x), len(y))
    c.that(abs(len(x) - len(y)) < RATE // 20, f'{len(x) / RATE:.3f} s were heard, {len(y) / RATE:.3f} s written')
    # The last second fades away, which is another matter.
    x, y = x[:length - RATE], y[:length - RATE]
    diff = rms([p - q for p, q in zip(x, y)])
    c.that(diff < .001 * rms(y) + 1 / 32768, f'live and written differ by {diff:.2g} of {rms(y):.2g}')
    print(f'{c.here}: {len(x) / RATE:.2f} s, they differ by {diff:.1g} of {rms(y):.2g}')


def interrupted(c):
    """Ctrl-C in the middle of a loop: silence, status 0, at once."""
    c.here = 'loop, then Ctrl-C'
    r = sink(['bash', '-c', '"$0" loop --bars 1 --tempo 200% & p=$!; sleep 2; kill -INT $p; t=$(date +%s%N); wait $p; '
              'echo "status $? after $(( ($(date +%s%N) - t) / 1000000 )) ms"', PROGRAM])
    told = r.stdout.strip().splitlines()[-1] if r.stdout.strip() else ''
    c.that(told.startswith('status 0 after'), f'{told} {r.stderr.strip()}')
    c.that(told.split()[-2:-1] and int(told.split()[-2]) < 2000, told)


def main():
    if not DATA:
        print('heard: skipped, THUMBLINE_DATA is not set')
        return 0
    if lack := missing():
        print(f'heard: {lack}')
        return 1
    c = Check('heard')
    with tempfile.TemporaryDirectory() as d:
        # The whole tune, fast: phrases swell across bar lines, so that a part that is cut off before a pick-up ends a
        # little louder or softer than it does in the tune.
        same_sound(c, d, ['--tempo', '300%'])
        same_sound(c, d, ['--tempo', '300%', '--tone', 'nylon', '--no-spread'])
    interrupted(c)
    return c.done()


if __name__ == '__main__':
    sys.exit(main())
