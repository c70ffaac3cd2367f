#!/usr/bin/env python3
"""CPU time of rendering one MIDI file: ours, everything on, beside Debian's general-purpose software synthesiser, its effects on
and off, in turns on one core. Wanted: 150 times real time, and no more than the other takes with effects; better, without. Says
what it found and never fails on a slow machine. Needs Debian's fluidsynth and timgm6mb-soundfont, and THUMBLINE_DATA."""
import os
import shutil
import statistics
import sys
import tempfile

ROUNDS = 3
SECONDS = 180
PROGRAM = os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), 'thumbline')
FONT = '/usr/share/sounds/sf2/TimGM6mb.sf2'


def cpu(args, core):
    """User and system seconds of a command held to one core."""
    pid = os.fork()
    if not pid:
        os.sched_setaffinity(0, {core})
        with open(os.devnull, 'w') as null:
            os.dup2(null.fileno(), 1)
        os.execvp(args[0], args)
    _, status, used = os.wait4(pid, 0)
    if status:
        sys.exit(f'bench-peer: {args[0]} failed')
    return used.ru_utime + used.ru_stime


def main():
    data = os.environ.get('THUMBLINE_DATA')
    if not data:
        print('bench-peer: skipped: THUMBLINE_DATA is not set')
        return
    if not shutil.which('fluidsynth') or not os.path.exists(FONT):
        print('bench-peer: skipped: missing (apt-get install fluidsynth timgm6mb-soundfont)')
        return
    song = os.path.join(data, 'peers', 'synth', 'guitar6.mid')
    core = min(os.sched_getaffinity(0))
    with tempfile.TemporaryDirectory() as d:
        def other(effects):
            return ['fluidsynth', '-q', '-ni', '-r', '48000', '-O', 's16', '-R', effects, '-C', effects, '-g', '0.5', '-F', os.path.join(d, 'y.wav'), FONT, song]
        runs = {'ours': [PROGRAM, 'write', song, '--out', os.path.join(d, 'x.wav')], 'with effects': other('1'), 'without': other('0')}
        took = {name: [] for name in runs}
        for _ in range(ROUNDS):
            for name, args in runs.items():
                took[name].append(cpu(args, core))
    t = {name: statistics.median(v) for name, v in took.items()}
    print(f"rendering {os.path.basename(song)}: {t['ours']:.2f} s of CPU, {SECONDS / t['ours']:.0f} x real time (wanted: over 150); "
          f"{t['ours'] / t['with effects']:.2f} of the other synthesiser with effects (wanted: at most 1), {t['ours'] / t['without']:.2f} without")


if __name__ == '__main__':
    main()
