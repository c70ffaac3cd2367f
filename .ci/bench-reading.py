#!/usr/bin/env python3
"""How long `thumbline check` takes for a lead sheet of 2,000 bars, and how much memory, in every kind of file. Figures are
read, never asserted."""
import os
import struct
import subprocess
import sys
import tempfile
import time

BARS = 2000
PROGRAM = os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), 'thumbline')
CHORDS = (('Dm7', 'D', 'minor-seventh'), ('G7', 'G', 'dominant'), ('Cmaj7', 'C', 'major-seventh'), ('A7', 'A', 'dominant'))
LINE = (62, 64, 65, 69, 67, 65, 64, 62)  # eighths of a bar
NAMES = {62: ('D', 'D', 4), 64: ('E', 'E', 4), 65: ('F', 'F', 4), 67: ('G', 'G', 4), 69: ('A', 'A', 4)}


def abc():
    bar = ''.join(NAMES[p][0] for p in LINE)
    lines = [' | '.join(f'"{CHORDS[k % 4][0]}"{bar}' for k in range(i, i + 4)) + ' |' for i in range(0, BARS, 4)]
    return ('X:1\nT:Two thousand bars\nM:4/4\nL:1/8\nQ:1/4=120\nK:C\n' + '\n'.join(lines) + ']\n').encode()


def musicxml():
    note = lambda p: (f'<note><pitch><step>{NAMES[p][1]}</step><octave>{NAMES[p][2]}</octave></pitch><duration>1</duration>'
                      '<voice>1</voice><type>eighth</type></note>')
    bar = ''.join(map(note, LINE))
    measures = ''.join(
        f'<measure number="{i + 1}">' + ('<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>' if i == 0 else '') +
        f'<harmony><root><root-step>{CHORDS[i % 4][1]}</root-step></root><kind>{CHORDS[i % 4][2]}</kind></harmony>{bar}</measure>\n' for i in range(BARS))
    return ('<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Tune</part-name></score-part></part-list>'
            f'<part id="P1">{measures}</part></score-partwise>').encode()


def midi():
    q, track = 480, bytearray(b'\0\xff\x58\4\4\2\x18\x08')

    def later(ticks):
        track.extend([ticks >> 7 | 128, ticks & 127] if ticks > 127 else [ticks])

    for i in range(BARS):
        text = CHORDS[i % 4][0].encode()
        track.extend(b'\0\xff\1' + bytes([len(text)]) + text)
        for p in LINE:
            track.extend(bytes([0, 0x90, p, 80]))
            later(q // 2)
            track.extend(bytes([0x80, p, 0]))
    track.extend(b'\0\xff\x2f\0')
    return b'MThd' + struct.pack('>IHHH', 6, 0, 1, q) + b'MTrk' + struct.pack('>I', len(track)) + bytes(track)


def main():
    for name, data in (('x.abc', abc()), ('x.musicxml', musicxml()), ('x.mid', midi())):
        with tempfile.TemporaryDirectory() as d:
            path = os.path.join(d, name)
            with open(path, 'wb') as f:
                f.write(data)
            best, peak = None, 0
            for _ in range(3):
                start = time.perf_counter()
                with open(os.path.join(d, 'out'), 'wb') as out:
                    p = subprocess.Popen([PROGRAM, 'check', path], stdout=out, stderr=out)
                    _, status, used = os.wait4(p.pid, 0)
                took = time.perf_counter() - start
                with open(os.path.join(d, 'out'), encoding='utf-8') as f:
                    text = f.read()
                if status or f'{BARS}, 1-{BARS}' not in text:
                    sys.exit(f'{name} of {BARS} bars is not read: {text[-300:]}')
                best, peak = min(best or took, took), max(peak, used.ru_maxrss / 1024)
        print(f'reading {BARS} bars, {name[2:]} of {len(data) // 1024} kB: {best:.2f} s, {peak:.0f} MB (wanted: under 0.5 s and 100 MB)')


if __name__ == '__main__':
    main()
