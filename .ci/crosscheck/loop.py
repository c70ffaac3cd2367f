#!/usr/bin/env python3
"""A loop as a sound server is given it, on a machine that is busy: every sample of every pass as it is written to a file, no
hole; the first sound soon after the command; keys, Ctrl-C, a server that is killed and one that hangs obeyed in time. By both
ways to the loudspeakers, where the one through ALSA can be built.

  loop.py                  a minute of passes
  loop.py --long           ten minutes of them
  loop.py --first [N]      how long after the command the first sound is heard, N times each; nothing is demanded
"""
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time

from common import DATA, DEMO, PROGRAM, RATE, Check, run, samples
from live import Busy, Recorder, Sink, aligned, differences, level, median_first_sound, missing as lacking, parts, programs, pty_run, trimmed

SOON = 200        # ms from the command to the first sound
SOON_BUSY = 500   # the same where other work keeps the cores busy
OBEYED = .1       # s from a key to what is heard of it
LOSS = 1.         # s in which a lost device is told
STARVED = .008  # s that the machine wakes a sleeper too late when a hole is its own fault
STEP = 1.6 / 32768  # a 16-bit file with dither is that far from what was rendered
FADE = RATE       # frames at the end of a recording that fade away

# Passes of a minute and of ten, over bars of the built-in tune at 132 beats a minute.
PASSES = {
    False: ['--bars', '9-11', '--ramp', '60-100:5', '--repeat', '1'],
    True: ['--bars', '9-16', '--ramp', '60-100:5', '--repeat', '4'],
}


def beside(works):
    """Does them side by side; the first that fails ends all."""
    failed = []

    def one(work):
        try:
            work()
        except BaseException as e:
            failed.append(e)

    side = [threading.Thread(target=one, args=(work,)) for work in works]
    for t in side:
        t.start()
    for t in side:
        t.join()
    if failed:
        raise failed[0]


def tell(line):
    sys.stdout.write(line + '\n')
    sys.stdout.flush()


def play(program, flags, seconds, into):
    """Plays the passes into a sink; leaves the process and what was heard in the dictionary."""
    with Sink() as sink, Recorder(sink) as rec:
        into['ended'] = subprocess.run([program, 'loop', DEMO] + flags, env=sink.env, stdin=subprocess.DEVNULL, capture_output=True, text=True,
                                       timeout=seconds * 1.5 + 60)
        time.sleep(.3)
    into['heard'] = trimmed(rec.frames())


def passes(c, all_, flags):
    """Every way to the loudspeakers side by side, and every core busy; again when the machine itself was starved."""
    with tempfile.TemporaryDirectory() as d:
        still = os.path.join(d, 'still.wav')
        r = run([PROGRAM, 'write', DEMO, '--out', still] + flags)
        if not c.that(r.returncode == 0, f'write {" ".join(flags)}: {r.stderr.strip()}'):
            return
        wanted = trimmed(samples(still, 2))
    seconds, left = len(wanted) / 2 / RATE, all_
    for _ in range(3):
        got = {name: {} for name, _ in left}
        with Busy() as busy:
            beside([(lambda n=name, p=program: play(p, flags, seconds, got[n])) for name, program in left])
        left = [(name, program) for name, program in left if not same_passes(c, name, flags, wanted, busy.late, **got[name])]
        if not left:
            return
        print(f'loop: the machine itself was starved: a sleeper woke {1000 * busy.late:.0f} ms late')
    print(f'loop: NOT PROVEN for {", ".join(name for name, _ in left)}: run it where the machine has nothing else to do')


def same_passes(c, name, flags, wanted, late, ended, heard):
    """Lays what was heard along the file; False when that says nothing because the machine was starved."""
    heard = aligned(heard, wanted)
    n, holes, altered, missing = differences(heard, wanted, STEP)
    print(f'loop {" ".join(flags)}: {name}: {n / RATE:.1f} s agree, {len(holes)} holes of {1000 * sum(k for _, k in holes) / RATE:.0f} ms, '
          f'{missing} frames missing after them, {altered} altered; a sleeper woke {1000 * late:.0f} ms late at worst')
    c.that(not altered, f'{name}: {altered} frames are not those of the file')
    if late > STARVED and (holes or 'takes no more sound' in ended.stderr):
        return False
    c.that(ended.returncode == 0 and not ended.stderr, f'{name}: status {ended.returncode}: {ended.stderr.strip()}')
    c.that(not holes, f'{name}: {len(holes)} holes, the first of {holes[0][1]} frames after {holes[0][0] / RATE:.1f} s' if holes else '')
    c.that(('interrupted' in ended.stdout) == bool(holes), f'{name}: {len(holes)} holes, and it says: {ended.stdout.strip().splitlines()[-1:]}')
    c.that(n >= min(len(wanted), len(heard)) // 2 - FADE and abs(len(heard) - len(wanted)) < 2 * FADE,
           f'{name}: {len(heard) / 2 / RATE:.2f} s were heard, {len(wanted) / 2 / RATE:.2f} s written, {n / RATE:.2f} s agree')
    return True


def soon(c, all_, times=3, demand=True):
    """The first sound after the command, what is arranged before it included."""
    for name, program in all_:
        measured = []
        with Sink() as sink, Busy(0) as busy:
            for command in ('hear', 'loop'):
                median, got = median_first_sound(sink, [program, command, DEMO], times)
                print(f'{name}: first sound of {command} after {median or -1:.0f} ms (median of {len(got)}, {min(got, default=-1):.0f} at best)')
                c.that(len(got) == times, f'{name}: {command} was heard {len(got)} times of {times}')
                if demand and got:
                    measured.append((min(got), f'{name}: first sound of {command} after {min(got):.0f} ms at best'))
        # The best of all has the least of other work, which there is here: a delay of ours is in all of them.
        # How long it takes where there is none, --first measures, and demands nothing.
        for best, text in measured:
            if best >= SOON and (best < SOON_BUSY or busy.late > 5 * STARVED):
                print(f'{text}: NOT PROVEN: the machine has other work (.ci/crosscheck/loop.py --first where it has none)')
            else:
                c.that(best < SOON, text)


def lost(c, name, program):
    """The server killed and stopped in the middle: one line, status 1, soon."""
    for what in ('kill', 'hang'):
        here = f'{name}: {what}'
        for attempt in range(3):  # a starved machine may need longer
            with Sink() as sink, Busy(0) as busy, tempfile.TemporaryFile() as err:
                p = subprocess.Popen([program, 'loop', DEMO, '--bars', '9-12'], env=sink.env, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=err)
                time.sleep(2.5)
                early = p.poll()
                start = time.monotonic()
                getattr(sink, what)()
                try:
                    p.wait(timeout=10)
                except subprocess.TimeoutExpired:
                    p.kill()
                    p.wait()
                took = time.monotonic() - start
                err.seek(0)
                said = err.read().decode()
            if early is None and took < LOSS or busy.late < STARVED:
                break
        c.that(early is None, f'{here}: it ended by itself: {said.strip()}')
        c.that(p.returncode == 1, f'{here}: status {p.returncode}')
        c.that(said.startswith('thumbline: ') and 'the sound device' in said and said.count('\n') == 1, f'{here}: it says {said!r}')
        c.that(took < LOSS or busy.late > STARVED, f'{here}: it took {took:.2f} s')
        tell(f'{here}: {took * 1000:.0f} ms: {said.strip()}')


def steps(x):
    """The largest step from sample to sample, of both channels."""
    return max((abs(a - b) for a, b in zip(x[2:], x)), default=0)


def stops(c, name, program):
    """Ctrl-C in the middle, and in a pause: an end within a second, silence within a moment, no step that the music has not."""
    here = f'{name}: Ctrl-C'
    with Sink() as sink, Recorder(sink) as rec, Busy(0) as busy:
        p = subprocess.Popen([program, 'loop', DEMO, '--bars', '9-12'], env=sink.env, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        time.sleep(5)
        start = time.monotonic()
        p.send_signal(signal.SIGINT)
        out, err = p.communicate(timeout=20)
        took = time.monotonic() - start
        time.sleep(.3)
    at = rec.at(start)
    end = at + len(trimmed(rec.frames(at))) // 2
    music, close = steps(rec.frames(at - 3 * RATE, at)), steps(rec.frames(at, end + 10))
    if 'interrupted' in out:  # holes have edges of their own
        tell(f'{here}: the machine was starved, so that edges prove nothing')
    else:
        c.that(close <= music * 1.001, f'{here}: a step of {close:.3g} at the end; the music has {music:.3g}')
    c.that(p.returncode == 0 and not err, f'{here}: status {p.returncode}: {err.strip()}')
    c.that(took < 1 or busy.late > STARVED, f'{here}: it took {took:.2f} s')
    tell(f'{here}: ended after {took * 1000:.0f} ms, silent after {1000 * (end - at) / RATE:.0f}')
    with Sink() as sink:
        r = pty_run([program, 'loop', DEMO, '--bars', '9-12'], [(3, 'p'), (4.5, '\x03')], env=sink.env, limit=20)
    took = r.ended - r.pressed[-1][0] if r.status is not None else 99
    c.that(r.status == 0 and took < 1, f'{here} in a pause: status {r.status} after {took:.2f} s: {r.err.strip()}')


# Keys that change what is heard at once: what they are, whether they let it fade away, and what is pressed after them. What
# waits for the seam or the next beat is not among them.
KEYS = [('pause', 'p', True), ('stop', 'q', True), ('again', 'a', False), ('next phrase', 'n', False), ('previous phrase', 'b', False),
        ('the tune off', '1', False)]
PHRASE = ['--phrase', '3']


def obeyed(c, name, program, what, key, fades, wanted):
    """One key in the middle of a phrase: when what is heard leaves what would be heard without it. That may be later than it
    is obeyed, where nothing sounds that it could change; then it is pressed elsewhere."""
    here, late = f'{name}: {what}', []
    for attempt in range(4):
        with Sink() as sink, Recorder(sink) as rec, Busy(0) as busy:
            r = pty_run([program, 'loop', DEMO] + PHRASE, [(4.2 + .3 * attempt, key), (5.3 + .3 * attempt, 'q')], env=sink.env, limit=20)
            time.sleep(.2)
        if not c.that(r.status == 0 and r.pressed, f'{here}: status {r.status}: {r.err.strip()}'):
            return
        at, hole = parts(rec, wanted, STEP)
        pressed = rec.at(r.pressed[0][0])
        if hole or at is not None and at < pressed:
            continue  # a hole: not what was asked
        if not c.that(at is not None, f'{here}: nothing changes'):
            return
        took = (at - pressed) / RATE
        if took > OBEYED:
            late.append((took, busy.late))
            continue
        close, music = 0, steps(rec.frames(pressed - RATE, pressed))
        if fades:
            close = steps(rec.frames(at - 10, at + RATE // 2))
            c.that(close <= music * 1.001, f'{here}: a step of {close:.3g}; the music has {music:.3g}')
            was, now = level(rec.frames(at - RATE // 10, at)), level(rec.frames(at + RATE // 10, at + RATE // 5))
            c.that(now < .25 * was, f'{here}: still {now:.3g} of {was:.3g} a tenth of a second later')
        tell(f'{here}: obeyed after {1000 * took:.0f} ms')
        return
    if any(starved < STARVED for _, starved in late):
        c.fail(f'{here}: obeyed after {1000 * min(late)[0]:.0f} ms')
        return
    tell(f'{here}: NOT PROVEN: the machine itself was starved')


def keys(c, all_):
    with tempfile.TemporaryDirectory() as d:
        still = os.path.join(d, 'still.wav')
        r = run([PROGRAM, 'write', DEMO, '--out', still, '--repeat', '3'] + PHRASE)
        if not c.that(r.returncode == 0, f'write: {r.stderr.strip()}'):
            return
        wanted = trimmed(samples(still, 2))
    beside([(lambda n=name, p=program: [obeyed(c, n, p, *k, wanted) for k in KEYS]) for name, program in all_])


def main(argv):
    if not DATA:
        print('loop: skipped, THUMBLINE_DATA is not set')
        return 0
    if lack := lacking():
        print(f'loop: {lack}')
        return 1
    c = Check('loop')
    with tempfile.TemporaryDirectory() as d:
        all_ = programs(d)
        if argv[:1] == ['--first']:
            soon(c, all_, int(argv[1]) if argv[1:] else 9, demand=False)
            return 0
        soon(c, all_)
        beside([(lambda n=name, p=program: (lost(c, n, p), stops(c, n, p))) for name, program in all_])
        keys(c, all_)
        passes(c, all_, PASSES['--long' in argv])
    return c.done()


if __name__ == '__main__':
    sys.exit(main(sys.argv[1:]))
