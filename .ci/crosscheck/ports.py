#!/usr/bin/env python3
"""MIDI ports in a small kernel that has a real sequencer: the driver's tests and the program's run there; what was captured is compared with the MIDI file.

usage: ports.py [INTERRUPTS]   how often to press Ctrl-C, 200 unless given
"""
import collections
import os
import re
import statistics
import subprocess
import sys
import tempfile

import mido

from common import DATA, PROGRAM, ROOT, Check, run

LIMIT = 2400  # s, of the guest; it takes about 7 minutes on an idle machine of two cores
# A test that does not run is a mistake here.
TESTS = ('KernelList', 'KernelSend', 'KernelVirtual', 'KernelStuck', 'KernelOwnerEnds', 'KernelInput', 'KernelUnbind',
         'CommandPorts', 'CommandHear', 'CommandLoop', 'CommandBent', 'CommandStuck', 'CommandUnplugged', 'CommandInterrupt', 'CommandSwitch')
CLICKS = 9  # channel, from 0
PER_QUARTER = 24  # clock ticks
COUNT_IN = 3  # quarters of the built-in tune: a bar less the quarter it begins with
# A loop that leads others, over bars in the middle of the built-in tune: how often each tempo is played, and the tempi, in
# percent of the written one. Without spread a note lies at the same tick at every tempo.
BARS, TIMES, TEMPO, RAMP = (3, 4), 2, 150, (100, 110, 120)
LOOP = ['--no-spread', '--tempo', f'{TEMPO}%']
LOOP_FLAGS = LOOP + ['--bars', f'{BARS[0]}-{BARS[1]}', '--count-in', '1', '--repeat', str(TIMES), '--ramp', f'{RAMP[0]}-{RAMP[-1]}:{RAMP[1] - RAMP[0]}']
RESTS = {'rested': 1, 'jumping': 0}  # bars, by the name of the capture
NEAR = .03  # the tempo of a pass, of what it should be: a step of the ramp is three times as much

# What aseqdump prints of an event, after its source.
EVENTS = (
    (r'Note on +(\d+), note (\d+), velocity (\d+)', lambda c, n, v: ('note_on', c, n, v)),
    (r'Note off +(\d+), note (\d+), velocity (\d+)', lambda c, n, v: ('note_off', c, n, v)),
    (r'Control change +(\d+), controller (\d+), value (\d+)', lambda c, n, v: ('control_change', c, n, v)),
    (r'Program change +(\d+), program (\d+)', lambda c, p: ('program_change', c, p)),
    (r'Pitch bend +(\d+), value (-?\d+)', lambda c, v: ('pitchwheel', c, v)),
    (r'Song position pointer +value (\d+)', lambda v: ('songpos', v)),
    (r'(Clock|Start|Stop|Continue)\b', lambda w: (w.lower(),)),
)


def captured(path):
    """The events of a capture in order; unknown lines but aseqdump's own are told as they are."""
    out = []
    for line in open(path):
        if not re.match(r' *\d+:\d+ ', line):
            continue
        text = line.split(None, 1)[1].strip()
        if text.startswith(('Port ', 'Client ')):
            continue
        for pattern, make in EVENTS:
            m = re.match(pattern, text)
            if m:
                out.append(make(*(int(g) if g.lstrip('-').isdigit() else g for g in m.groups())))
                break
        else:
            out.append(('unknown', text))
    return out


def event(m):
    """A message as the captures have it."""
    values = {
        'note_on': lambda: (m.channel, m.note, m.velocity),
        'note_off': lambda: (m.channel, m.note, m.velocity),
        'control_change': lambda: (m.channel, m.control, m.value),
        'program_change': lambda: (m.channel, m.program),
        'pitchwheel': lambda: (m.channel, m.pitch),
        'songpos': lambda: (m.pos,),
    }
    return (m.type,) + values.get(m.type, tuple)()


def noted(path):
    """[(second, event)] of a capture that has the bytes of each message after its time."""
    out = []
    for line in open(path):
        at, data = line.split(None, 1)
        out.append((float(at), event(mido.Message.from_hex(data))))
    return out


def of_file(path):
    """[(tick, event)] of a MIDI file, in time, and ticks per quarter."""
    f = mido.MidiFile(path)
    out, tick = [], 0
    for m in mido.merge_tracks(f.tracks):
        tick += m.time
        if m.is_meta or m.type == 'sysex':
            continue
        out.append((tick, event(m)))
    # Tracks that share a channel name its sound each; a port is told all of that before the first note.
    sounds = [e for t, e in out if t == 0 and e[0] == 'program_change']
    rest = [(t, e) for t, e in out if t > 0 or e[0] != 'program_change']
    return [(-1, e) for e in sounds] + rest, f.ticks_per_beat


def same_events(c, name, got, want):
    """Every event of the file, in its order; those of one tick in any, but on each channel in the file's."""
    c.that(len(got) == len(want), f'{name}: {len(got)} events captured, {len(want)} in the file')
    at = 0
    while at < len(want):
        end = at
        while end < len(want) and want[end][0] == want[at][0]:
            end += 1
        theirs = [e for _, e in want[at:end]]
        if not c.that(collections.Counter(got[at:end]) == collections.Counter(theirs), f'{name}: at tick {want[at][0]} came {got[at:end]}, the file has {theirs}'):
            return
        at = end
    for channel in range(16):
        c.that([e for e in got if e[1] == channel] == [e for _, e in want if e[1] == channel], f'{name}: order on channel {channel + 1}')


def clock(c, got, want, per_quarter, beats):
    """Clock through a count-in of so many quarters and the pass: started just before the tick of its beginning, stopped once, and each note between the ticks the tempo map says."""
    kinds = collections.Counter(e[0] for e in got)
    for kind, n in (('start', 1), ('stop', 1), ('continue', 0), ('songpos', 0)):
        c.that(kinds[kind] == n, f'clock: {kinds[kind]} messages {kind}, want {n}')
    if not kinds['start']:
        return
    began = got.index(('start',))
    ticks = sum(e == ('clock',) for e in got[:began])
    c.that(ticks == beats * PER_QUARTER, f'clock: {ticks} ticks in a count-in of {beats} quarters')
    clicks = sum(e[0] == 'note_on' and e[1] == CLICKS for e in got[:began])
    c.that(clicks == beats, f'clock: {clicks} clicks in a count-in of {beats} quarters')
    c.that(got[began + 1] == ('clock',), f'clock: after the start came {got[began + 1]}')
    ticks, i = 0, 0
    for e in got[began:]:
        if e == ('clock',):
            ticks += 1
        elif e[0] in ('note_on', 'note_off') and e[1] != CLICKS:
            # The file's own tick of this event, in ticks of the clock; the first is at 0.
            while i < len(want) and want[i][1][0] not in ('note_on', 'note_off'):
                i += 1
            if i == len(want):
                break
            x = want[i][0] * PER_QUARTER / per_quarter
            near = abs(x - round(x)) < 0.05  # in the same moment as a tick, before or after it
            c.that(ticks == int(x) + 1 or near and ticks in (round(x), round(x) + 1), f'clock: {e} after {ticks} ticks, it is due at {x:.2f}')
            i += 1
    total = sum(e == ('clock',) for e in got[began:])
    end = max(t for t, _ in want) * PER_QUARTER / per_quarter
    c.that(end <= total <= end + 4 * PER_QUARTER + 1, f'clock: {total} ticks, the last note ends at {end:.1f}')


def bar_starts(path):
    """The ticks at which the bars of a file begin, and the end of the last."""
    f = mido.MidiFile(path)
    tick, metres = 0, []
    for m in mido.merge_tracks(f.tracks):
        tick += m.time
        if m.type == 'time_signature':
            metres.append((tick, f.ticks_per_beat * 4 * m.numerator // m.denominator))
    out = []
    for (at, length), (end, _) in zip(metres, metres[1:] + [(tick, 0)]):
        out += range(at, end, length)
    return out + [tick]


def passages(path, begin, end, rest):
    """[(tick from begin, event)] of the notes struck from begin to end: in a pass with so long a rest after it, in which they may
    end, and in a last one, where each ends by itself."""
    looped, last = [], []
    for track in mido.MidiFile(path).tracks:
        tick, sounding = 0, {}
        for m in track:
            tick += m.time
            if m.type not in ('note_on', 'note_off'):
                continue
            key = m.channel, m.note
            if m.type == 'note_off' and key in sounding:
                at = sounding.pop(key)
                looped.append((min(tick - begin, end - begin + rest), ('note_off',) + key))
                last.append((tick - begin, ('note_off',) + key))
            elif m.type == 'note_on' and begin <= tick < end:
                sounding[key] = tick
                for into in looped, last:
                    into.append((tick - begin, event(m)))
    order = lambda e: (e[0], e[1][0] != 'note_off')
    return sorted(looped, key=order), sorted(last, key=order)


def led(c, name, got, path, rest_bars):
    """What a loop sends: count-in, passes and rests counted in ticks of the clock, the followers moved and started before each
    pass and stopped after it, and every note of every pass between the ticks the tempo map says. Of the notes those of a channel
    come in their order."""
    starts, unit = bar_starts(path), mido.MidiFile(path).ticks_per_beat / PER_QUARTER
    begin, end, bar = starts[BARS[0]], starts[BARS[1] + 1], starts[BARS[1] + 1] - starts[BARS[1]]  # bar 0 is the pick-up
    ticks = lambda x: int(x / unit)
    sixteenth = begin * 4 // mido.MidiFile(path).ticks_per_beat
    passes, rest = TIMES * len(RAMP), rest_bars * bar
    looped, last = passages(path, begin, end, rest)
    count, whole = ticks(bar), ticks(end - begin + rest)

    # What leads, with the ticks that went before it: the song position as early as it is known, FB before the first tick of the
    # pass, FC with the end of what is played.
    leads = [(0, ('songpos', sixteenth))]
    for p in range(passes):
        at = count + p * whole
        leads += [(at, ('continue',)), (at + ticks(end - begin), ('stop',))]
        if p < passes - 1:
            leads.append((at + ticks(end - begin), ('songpos', sixteenth)))
    total = count + (passes - 1) * whole + ticks(end - begin)
    seen, now = [], 0
    for e in got:
        if e == ('clock',):
            now += 1
        elif e[0] in ('songpos', 'start', 'continue', 'stop'):
            seen.append((now, e))
    c.that(seen == leads, f'{name}: led by {seen}, want {leads}')
    c.that(now == total, f'{name}: {now} ticks of the clock, want {total}')

    clicks = list(range(1, count, PER_QUARTER))
    now, heard = 0, collections.defaultdict(list)
    for e in got:
        if e == ('clock',):
            now += 1
        elif e[0] in ('note_on', 'note_off') and e[1] != CLICKS:
            heard[e[1]].append((now, e if e[0] == 'note_on' else e[:3]))
        elif e[0] == 'note_on':
            heard['clicks'].append(now)
        elif e[0] == 'program_change':
            c.that(not heard[e[1]], f'{name}: a program change on channel {e[1] + 1} after its first note')
        elif e[0] not in ('note_off', 'songpos', 'start', 'continue', 'stop'):
            c.fail(f'{name}: {e} that nobody asked for')
    c.that(heard.pop('clicks', []) == clicks, f'{name}: clicks that are not those of the count-in')
    want = collections.defaultdict(list)
    for p in range(passes):
        for at, e in last if p == passes - 1 else looped:
            # A tick leaves before the notes of its moment; there is none after the end of the last pass. What ends with a pass may
            # end by itself or because the pass does, before the tick of that moment or after it.
            n = count + p * whole + int(at / unit)
            seam = p < passes - 1 and at == end - begin + rest
            want[e[1]].append(((n, n + 1) if seam else (min(n + 1, total),), e))
    for channel in sorted(set(want) | set(heard)):
        ours, theirs = heard[channel], want[channel]
        c.that(len(ours) == len(theirs), f'{name}: {len(ours)} notes begin or end on channel {channel + 1}, want {len(theirs)}')
        for (x, e), (xs, wanted) in zip(ours, theirs):
            if not c.that(e == wanted and x in xs, f'{name}: on channel {channel + 1} came {e} after {x} ticks, want {wanted} after {xs[-1]}'):
                break
    programs = sorted(e for e in got if e[0] == 'program_change')
    c.that(programs == sorted({e for t, e in of_file(path)[0] if t < begin and e[0] == 'program_change'}), f'{name}: {programs}')
    sounding = collections.Counter()
    for e in got:
        if e[0] in ('note_on', 'note_off'):
            sounding[e[1:3]] += 1 if e[0] == 'note_on' else -1
    c.that(not any(sounding.values()), f'{name}: sounding at the end {+sounding}')


def ramped(c, name, got, path, rest_bars):
    """The tempo of every pass, from the times of its ticks: the machine may stand still in less than half of it."""
    f = mido.MidiFile(path)
    quarter = next(m.tempo for m in f.tracks[0] if m.type == 'set_tempo') / 1e6
    at = [t for t, e in got if e == ('clock',)]
    starts = bar_starts(path)
    bar = int((starts[BARS[0] + 1] - starts[BARS[0]]) * PER_QUARTER / f.ticks_per_beat)
    bars = BARS[1] - BARS[0] + 1
    for p in range(TIMES * len(RAMP)):
        ticks = at[bar * (1 + p * (bars + rest_bars)):][:bar * bars]
        if not c.that(len(ticks) == bar * bars, f'{name}: {len(ticks)} ticks in pass {p + 1}'):
            return
        half = len(ticks) // 2
        took = statistics.median(y - x for x, y in zip(ticks, ticks[half:])) / half * PER_QUARTER
        want = quarter * 100 / RAMP[p // TIMES]
        c.that(abs(took / want - 1) < NEAR, f'{name}: a quarter takes {1000 * took:.0f} ms in pass {p + 1}, want {1000 * want:.0f}')


def bent_file(path):
    """Two channels that bend, of which one says its range itself, and a pedal; at the end the pedal is down and a channel bent."""
    f = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    f.tracks.append(track)
    M = mido.Message
    track.append(mido.MetaMessage('set_tempo', tempo=500000))
    for channel, program in ((0, 30), (3, 33)):
        track.append(M('program_change', channel=channel, program=program))
    for control, value in ((101, 0), (100, 0), (6, 12), (101, 127), (100, 127)):
        track.append(M('control_change', channel=3, control=control, value=value))
    track += [M('control_change', channel=0, control=64, value=127, time=240), M('note_on', channel=0, note=60, velocity=90),
              M('note_on', channel=3, note=36, velocity=80)]
    for bend in (-8192, -1, 1, 4096, 8191):
        track += [M('pitchwheel', channel=0, pitch=bend, time=60), M('pitchwheel', channel=3, pitch=-bend - 1)]
    track += [M('note_off', channel=0, note=60, velocity=64, time=60), M('control_change', channel=0, control=64, value=0, time=60),
              M('pitchwheel', channel=3, pitch=0), M('control_change', channel=0, control=64, value=100, time=120),
              M('note_on', channel=0, note=67, velocity=70), M('note_off', channel=3, note=36, velocity=64, time=240),
              M('note_off', channel=0, note=67, velocity=64, time=60)]
    f.save(path)


def bent(c, got, want):
    """The file as it stands: before it the range of the channel that has not said it, after it what the file left lying."""
    name = 'bent'
    told = [('control_change', 0, control, value) for control, value in ((101, 0), (100, 0), (6, 2), (38, 0), (101, 127), (100, 127))]
    left = [('control_change', 0, 64, 0), ('pitchwheel', 0, 0)]
    c.that([e for e in got if e in told] == told, f'{name}: the bend range is not told once')
    first = next((i for i, e in enumerate(got) if e[0] == 'pitchwheel'), 0)
    c.that(all(e in got[:first] for e in told), f'{name}: bent before the range is told')
    c.that(sorted(got[-len(left):]) == sorted(left), f'{name}: it ends with {got[-len(left):]}')
    same_events(c, name, [e for e in got[:-len(left)] if e not in told], want)


def main(args):
    c = Check('ports')
    interrupts = args[0] if args else '200'
    guest = os.path.join(DATA, 'devices', 'qemu-midi.sh')
    if not DATA or not os.path.exists(guest):
        sys.exit(f'ports: no {guest} (set THUMBLINE_DATA)')
    go = os.environ.get('GO', 'go')
    with tempfile.TemporaryDirectory() as work:
        env = dict(os.environ, CGO_ENABLED='0', GOOS='linux', GOARCH='amd64')  # what the guest is
        for args in (['test', '-c', '-o', f'{work}/ports.test', './midiio/alsaseq'], ['build', '-trimpath', '-buildvcs=false', '-o', f'{work}/thumbline', './cmd/thumbline']):
            subprocess.run([go] + args, cwd=ROOT, env=env, check=True)
        for out, flags in (('demo.mid', []), ('short.mid', ['--bars', '1-4', '--tempo', '150%']), ('loop.mid', LOOP)):
            r = run([PROGRAM, 'write', '--out', f'{work}/{out}'] + flags)
            if r.returncode:
                sys.exit(f'ports: {r.stderr.strip()}')
        bent_file(f'{work}/bent.mid')
        out = f'{work}/out'
        os.mkdir(out)
        with open(f'{work}/guest.sh', 'w') as f:
            f.write(f'ports.test -test.v -test.timeout {LIMIT}s -test.run "Kernel|Command" 2>&1\n')
        said = []
        p = subprocess.Popen([guest, '-t', str(LIMIT + 100), '-b', f'{work}/ports.test', '-b', f'{work}/thumbline', '-b', f'{work}/short.mid', '-b', f'{work}/bent.mid',
                              *(x for name, bars in RESTS.items() for x in ('-e', f'{name.upper()}={" ".join(LOOP_FLAGS)} --rest {bars}')),
                              '-e', 'BENT=/prog/bent.mid', '-e', 'THUMBLINE=/prog/thumbline', '-e', 'GUEST_OUT=/out', '-e', 'SHORT=/prog/short.mid', '-e', f'INTERRUPTS={interrupts}',
                              '-o', out, '-s', f'{work}/guest.sh'], stdout=subprocess.PIPE, text=True, errors='replace')
        for line in p.stdout:
            print(' ', line.rstrip(), flush=True)
            said.append(line.strip())
        status = p.wait()
        c.that(status == 0, f'the tests in the guest ended with status {status}')
        for t in TESTS:
            c.that(any(re.match(rf'--- PASS: Test{t} ', s) for s in said), f'Test{t} has not passed in the guest')
        c.that(not any(s.startswith('--- SKIP') for s in said), 'a test in the guest was skipped')
        want, per_quarter = of_file(f'{work}/demo.mid')
        for name in ('through', 'virtual'):
            path = f'{out}/{name}.txt'
            if not c.that(os.path.exists(path), f'{name}: nothing was captured'):
                continue
            got = captured(path)
            same_events(c, name, [e for e in got if len(e) > 2 and e[1] != CLICKS], [w for w in want if w[1][1] != CLICKS])
            if name == 'virtual':
                clock(c, got, want, per_quarter, COUNT_IN)
            else:
                c.that(not any(e[0] in ('clock', 'start', 'stop', 'unknown') for e in got), f'{name}: clock or unknown events that nobody asked for')
        if c.that(os.path.exists(f'{out}/bent.txt'), 'bent: nothing was captured'):
            bent(c, captured(f'{out}/bent.txt'), of_file(f'{work}/bent.mid')[0])
        for name, read in (('rested', noted), ('jumping', lambda path: [(None, e) for e in captured(path)])):
            if not c.that(os.path.exists(f'{out}/{name}.txt'), f'{name}: nothing was captured'):
                continue
            got = read(f'{out}/{name}.txt')
            led(c, name, [e for _, e in got], f'{work}/loop.mid', RESTS[name])
            if name == 'rested':
                ramped(c, name, got, f'{work}/loop.mid', RESTS[name])
    return c.done()


if __name__ == '__main__':
    sys.exit(main(sys.argv[1:]))
