#!/usr/bin/env python3
"""MIDI ports in a small kernel that has a real sequencer: the driver's tests and the program's run there; what was captured is compared with the MIDI file.

usage: ports.py [INTERRUPTS]   how often to press Ctrl-C, 200 unless given
"""
import collections
import os
import re
import subprocess
import sys
import tempfile

import mido

from common import DATA, PROGRAM, ROOT, Check, run

LIMIT = 2400  # s, of the guest; it takes about 7 minutes on an idle machine of two cores
# A test that does not run is a mistake here.
TESTS = ('KernelList', 'KernelSend', 'KernelVirtual', 'KernelStuck', 'KernelOwnerEnds', 'KernelInput', 'KernelUnbind',
         'CommandPorts', 'CommandHear', 'CommandStuck', 'CommandUnplugged', 'CommandInterrupt', 'CommandSwitch')
CLICKS = 9  # channel, from 0
PER_QUARTER = 24  # clock ticks
COUNT_IN = 3  # quarters of the built-in tune: a bar less the quarter it begins with

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


def of_file(path):
    """[(tick, event)] of a MIDI file, in time, and ticks per quarter."""
    f = mido.MidiFile(path)
    out, tick = [], 0
    for m in mido.merge_tracks(f.tracks):
        tick += m.time
        if m.is_meta or m.type == 'sysex':
            continue
        values = {
            'note_on': lambda: ('note_on', m.channel, m.note, m.velocity),
            'note_off': lambda: ('note_off', m.channel, m.note, m.velocity),
            'control_change': lambda: ('control_change', m.channel, m.control, m.value),
            'program_change': lambda: ('program_change', m.channel, m.program),
            'pitchwheel': lambda: ('pitchwheel', m.channel, m.pitch),
        }
        out.append((tick, values[m.type]()))
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
        for out, flags in (('demo.mid', []), ('short.mid', ['--bars', '1-4', '--tempo', '150%'])):
            r = run([PROGRAM, 'write', '--out', f'{work}/{out}'] + flags)
            if r.returncode:
                sys.exit(f'ports: {r.stderr.strip()}')
        out = f'{work}/out'
        os.mkdir(out)
        with open(f'{work}/guest.sh', 'w') as f:
            f.write(f'ports.test -test.v -test.timeout {LIMIT}s -test.run "Kernel|Command" 2>&1\n')
        said = []
        p = subprocess.Popen([guest, '-t', str(LIMIT + 100), '-b', f'{work}/ports.test', '-b', f'{work}/thumbline', '-b', f'{work}/short.mid',
                              '-e', 'THUMBLINE=/prog/thumbline', '-e', 'GUEST_OUT=/out', '-e', 'SHORT=/prog/short.mid', '-e', f'INTERRUPTS={interrupts}',
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
    return c.done()


if __name__ == '__main__':
    sys.exit(main(sys.argv[1:]))
