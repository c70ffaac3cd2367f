"""A sound server of our own whose sink is not there (null-sink.sh of the shared data), what it played with the time of every
frame, and the program under it: in a terminal that presses keys, on a busy machine, or with the server taken away.
"""
import array
import os
import pty
import select
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time

from common import DATA, PROGRAM, RATE, ROOT, floats, run

FRAME = 8  # two float32


def missing():
    """What has to be installed, in one line; empty when all is there."""
    lack = [p for p in ('pulseaudio', 'pactl', 'parec') if not shutil.which(p)]
    return f"{' '.join(lack)} missing (apt-get install pulseaudio libasound2-plugins)" if lack else ''


def programs(folder):
    """[(name, program)]: the ordinary build, and that through ALSA where there is what it needs."""
    if run(['sh', '-c', 'command -v gcc && pkg-config --exists alsa']).returncode:
        print('live: the build through ALSA is left out (apt-get install libasound2-dev pkg-config gcc)')
        return [('pulse', PROGRAM)]
    alsa = os.path.join(folder, 'thumbline-alsa')
    r = run([os.environ.get('GO') or 'go', 'build', '-tags', 'alsa', '-buildvcs=false', '-o', alsa, './cmd/thumbline'], timeout=600,
            cwd=ROOT, env=dict(os.environ, CGO_ENABLED='1'))
    if r.returncode:
        sys.exit(f'the build through ALSA fails: {r.stderr}')
    return [('pulse', PROGRAM), ('alsa', alsa)]


class Sink:
    """The server, for as long as the block lasts."""

    def __enter__(self):
        self.script = subprocess.Popen([os.path.join(DATA, 'devices', 'null-sink.sh'), 'bash', '-c', 'env -0; printf "END\\0"; cat >/dev/null'],
                                       stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        text = b''
        while not text.endswith(b'END\0'):
            got = os.read(self.script.stdout.fileno(), 65536)
            if not got:
                raise RuntimeError('null-sink.sh gave no server')
            text += got
        self.env = dict(e.split('=', 1) for e in os.fsdecode(text).split('\0') if '=' in e)
        self.pid = int(self.env['NULL_SINK_PID'])
        return self

    def __exit__(self, *_):
        self.script.stdin.close()
        self.script.wait(timeout=20)
        self.script.stdout.close()

    def kill(self):
        os.kill(self.pid, signal.SIGKILL)

    def hang(self):
        os.kill(self.pid, signal.SIGSTOP)


class Recorder:
    """What the sink plays, for as long as the block lasts. A frame reaches us after it was played, sometimes late: the least
    late of all tells when each was."""

    def __init__(self, sink):
        self.sink, self.bytes, self.arrived = sink, bytearray(), []

    def __enter__(self):
        self.parec = subprocess.Popen(['parec', '--device=null.monitor', '--format=float32le', f'--rate={RATE}', '--channels=2', '--latency-msec=5', '--raw'],
                                      stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=self.sink.env)
        self.thread = threading.Thread(target=self.read, daemon=True)
        self.thread.start()
        limit = time.monotonic() + 10
        while len(self.bytes) < RATE * FRAME // 4:
            if time.monotonic() > limit:
                raise RuntimeError('nothing is recorded')
            time.sleep(.01)
        return self

    def read(self):
        while got := os.read(self.parec.stdout.fileno(), 65536):
            self.bytes += got
            self.arrived.append((time.monotonic(), len(self.bytes) // FRAME))

    def __exit__(self, *_):
        self.parec.terminate()
        self.parec.wait()
        self.thread.join()
        self.parec.stdout.close()

    def frames(self, start=0, end=None):
        """Both channels in turn, from one frame up to another."""
        have = len(self.bytes) // FRAME
        end = have if end is None else min(end, have)
        return floats(bytes(self.bytes[start * FRAME:max(start, end) * FRAME]))

    def origin(self):
        """When frame 0 was played, by time.monotonic."""
        return min(t - n / RATE for t, n in list(self.arrived))

    def at(self, when):
        """The frame that was played then."""
        return round((when - self.origin()) * RATE)

    def first(self, start=0):
        """The first frame from start on that is not silence, or None."""
        zero = bytes(FRAME * 480)
        b, i = self.bytes, start * FRAME
        while i + len(zero) <= len(b) and b[i:i + len(zero)] == zero:
            i += len(zero)
        while i + FRAME <= len(b):
            if b[i:i + FRAME] != zero[:FRAME]:
                return i // FRAME
            i += FRAME
        return None


class Busy:
    """Burns every core for as long as the block lasts. Beside it something sleeps again and again, as a sound server does;
    `late` is by how much it was woken too late at worst, in seconds: on a machine that has other work it tells whose fault a
    hole is."""

    CANARY = ('import sys, time\nworst = 0\nwhile not sys.stdin.closed:\n import select\n t = time.monotonic()\n'
              ' if select.select([sys.stdin], [], [], .005)[0]: break\n worst = max(worst, time.monotonic() - t - .005)\nprint(worst)')

    def __init__(self, burners=None):
        self.burners, self.late = os.cpu_count() if burners is None else burners, 0.

    def __enter__(self):
        self.all = [subprocess.Popen([sys.executable, '-c', 'while True: pass']) for _ in range(self.burners)]
        self.canary = subprocess.Popen([sys.executable, '-c', self.CANARY], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        return self

    def __exit__(self, *_):
        self.late = float(self.canary.communicate()[0])
        for p in self.all:
            p.kill()
            p.wait()


def first_sound(sink, args, limit=10):
    """Seconds from the start of a program to the first sound, both by the clock of the recording; None when there is none.
    Then the program is interrupted."""
    with Recorder(sink) as rec:
        before = len(rec.bytes) // FRAME
        start = time.monotonic()
        p = subprocess.Popen(args, env=sink.env, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        at = None
        while at is None and time.monotonic() < start + limit and p.poll() is None:
            time.sleep(.02)
            at = rec.first(before)
        time.sleep(.2)  # the clock of the recording gets better
        p.send_signal(signal.SIGINT)
        p.wait(timeout=10)
        return None if at is None else rec.origin() + at / RATE - start


def median_first_sound(sink, args, times=5):
    """(median, all) in ms, without those where nothing was heard."""
    got = [t * 1000 for t in (first_sound(sink, args) for _ in range(times)) if t is not None]
    return (statistics.median(got) if got else None), got


class Ran:
    """What became of a program: status, what it printed, when what happened by time.monotonic."""

    def __init__(self):
        self.status, self.out, self.err, self.pressed, self.ended = None, '', '', [], None


def pty_run(args, keys, env=None, limit=60, size=(24, 80), screen=True):
    """Runs a program in a terminal of its own and presses keys: [(seconds after the start, text)]. `out` is all that the
    terminal got, `pressed` [(when, text)]. With screen=False standard output is a pipe and only the keys come from a terminal.
    It is killed after limit seconds: then the status is None."""
    import fcntl
    import struct
    import termios
    r, (master, slave) = Ran(), pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack('HHHH', *size, 0, 0))
    pipe = None if screen else os.pipe()
    with tempfile.TemporaryFile() as err:
        start = time.monotonic()
        p = subprocess.Popen(args, stdin=slave, stdout=slave if screen else pipe[1], stderr=err, env=dict(env or os.environ, TERM='xterm-256color'),
                             start_new_session=True, preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0))
        os.close(slave)
        if pipe:
            os.close(pipe[1])
        todo, out, fds = sorted(keys), b'', [master] + ([pipe[0]] if pipe else [])
        while p.poll() is None and time.monotonic() < start + limit:
            while todo and time.monotonic() >= start + todo[0][0]:
                r.pressed.append((time.monotonic(), todo[0][1]))
                os.write(master, todo.pop(0)[1].encode())
            wait = min(.05, start + todo[0][0] - time.monotonic()) if todo else .05
            for fd in select.select(fds, [], [], max(wait, 0))[0]:
                try:
                    got = os.read(fd, 65536)
                except OSError:  # a terminal whose program has ended
                    got = b''
                if not got:
                    fds.remove(fd)
                out += got
            if not fds:
                break
        try:
            r.status = p.wait(timeout=max(.1, start + limit - time.monotonic()))
        except subprocess.TimeoutExpired:
            p.kill()
            p.wait()
        r.ended = time.monotonic()
        os.close(master)
        if pipe:
            os.close(pipe[0])
        err.seek(0)
        r.out, r.err = out.decode(errors='replace'), err.read().decode(errors='replace')
    return r


def trimmed(x):
    """Without the silence before and after; whole frames."""
    i, j = 0, len(x)
    while i + 960 <= j and not any(x[i:i + 960]):
        i += 960
    while i < j and x[i] == 0 == x[i + 1]:
        i += 2
    while j - 960 >= i and not any(x[j - 960:j]):
        j -= 960
    while j > i and x[j - 1] == 0 == x[j - 2]:
        j -= 2
    return x[i:j]


def level(x):
    return max(map(abs, x), default=0)


def offset(heard, wanted, reach=256):
    """How many samples of heard come before wanted begins, or less than 0 of wanted before heard does: the first frames of a
    soft start are nothing in 16 bits."""
    loud = next((i for i in range(0, len(wanted), 2) if abs(wanted[i]) > .002), 0)
    b = wanted[loud:loud + 2 * 480]

    def off(shift):
        a = heard[loud + shift:loud + shift + len(b)]
        return sum(map(abs, map(float.__sub__, a, b))) if loud + shift >= 0 and len(a) == len(b) else float('inf')

    return min(sorted(range(-2 * reach, 2 * reach + 1, 2), key=abs), key=off)


def aligned(heard, wanted):
    """heard from where wanted begins."""
    n = offset(heard, wanted)
    return heard[n:] if n >= 0 else array.array('f', bytes(-n * 4)) + heard


def parts(rec, wanted, by):
    """The frame of a recording at which it leaves what was wanted, or None; and whether it leaves it for silence in one step,
    as a hole does."""
    start = rec.first()
    if start is None:
        return None, False
    heard = rec.frames(start)
    i, j = max(offset(heard, wanted), 0), max(-offset(heard, wanted), 0)
    while i < len(heard) and j < len(wanted):
        k = min(480, len(heard) - i, len(wanted) - j)
        if max(map(abs, map(float.__sub__, heard[i:i + k], wanted[j:j + k]))) > by:
            f = next(f for f in range(0, k, 2) if abs(heard[i + f] - wanted[j + f]) > by or abs(heard[i + f + 1] - wanted[j + f + 1]) > by)
            return start + (i + f) // 2, not any(heard[i + f:i + f + 32])
        i, j = i + k, j + k
    return None, False


def differences(heard, wanted, by):
    """(frames that agree, [holes as (frame, length)], frames altered, frames missing after holes): heard laid along wanted. A
    hole is silence that is put in; after it both should go on with the frame they were at."""
    holes, altered, missing, agree = [], 0, 0, 0
    i, j, block = 0, 0, 480  # in samples, as all below

    def same(a, b, n):
        a, b = heard[a:a + n], wanted[b:b + n]
        return bool(a) and len(a) == len(b) and max(map(abs, map(float.__sub__, a, b))) <= by

    while i < len(heard) and j < len(wanted):
        k = min(block, len(heard) - i, len(wanted) - j)
        if same(i, j, k):
            i, j, agree = i + k, j + k, agree + k // 2
            continue
        f = next(f for f in range(0, k, 2) if not same(i + f, j + f, 2))
        i, j, agree = i + f, j + f, agree + f // 2
        # Where silence is put in, its first frames may have agreed.
        start = next((m for m in range(i, min(i + 64, len(heard)), 2) if heard[m] == 0 == heard[m + 1]), i)
        end = start
        while end < len(heard) and heard[end] == 0 == heard[end + 1]:
            end += 2
        while start >= 2 and heard[start - 1] == 0 == heard[start - 2]:
            start -= 2
        back = j + start - i
        go = None
        if end - start >= 16:
            # A way that begins anew after a hole may have thrown away what it held: look farther, by what is loud enough to know.
            # One in silence shows only where that should end, which is here.
            loud = level(heard[end:end + 200]) > 20 * by
            near = sorted(range(-256, 257, 2), key=abs)
            tries = [back + m for m in near] + [j + m for m in near] + ([back + m for m in range(258, RATE, 2)] if loud else [])
            go = next((m for m in tries if m >= 0 and same(end, m, 2) and same(end, m, min(200, len(heard) - end))), None)
        if go is not None:
            put_in = ((end - start) - (go - back)) // 2  # where silence is wanted too, what is more than that
            holes.append((go // 2, max(put_in, 0)))
            missing += max(-put_in, 0)
            i, j = end, go
            continue
        altered, i, j = altered + 1, i + 2, j + 2
        if altered > 4800:
            break
    return agree, holes, altered, missing
