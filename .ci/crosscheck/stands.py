"""MIDI files that are played as they stand: mido writes one that knows nothing of strings, sox and ffmpeg hear what became of it.
And stems: sox adds them up and takes the whole away."""
import os
import sys
import tempfile

import mido

import wav
from common import DATA, DEMO, RATE, Check, samples, write

OFF = -60  # dB, what is left of the whole when its stems are taken away
PPQ = 480


def stems(c, d, flags, names):
    c.here = 'stems ' + ' '.join(flags)
    x = os.path.join(d, 'x.wav')
    error = write(DEMO, [x], ['--stems', '--bits', '24'] + flags)
    if not c.that(not error, error):
        return
    parts = [os.path.join(d, f'x-{n}.wav') for n in names]
    there = sorted(f for f in os.listdir(d) if f.startswith('x-'))
    c.that(there == sorted(map(os.path.basename, parts)), f'{there} are written')
    whole = wav.sox(x)
    for p in parts:
        c.that(wav.sox(p) == whole, f'{os.path.basename(p)}: {wav.sox(p)}, the whole {whole}')
    level, rest = wav.rms(x), wav.rms('-m', '-v', '-1', x, *(a for p in parts for a in ('-v', '1', p)))
    c.that(rest <= level + OFF, f'{rest} dB are left of {level}')
    print(f'{c.here}: the whole {level} dB, without its stems {rest} dB')
    for p in parts:
        os.remove(p)


def line(path):
    """A scale of fourths over seven octaves on channel 4, a note every second beat, with a change of tempo; -> [(s, s, key)]."""
    m = mido.MidiFile(ticks_per_beat=PPQ)
    t = mido.MidiTrack()
    m.tracks.append(t)
    t.append(mido.MetaMessage('set_tempo', tempo=mido.bpm2tempo(100)))
    t.append(mido.Message('program_change', channel=3, program=0))
    for i, key in enumerate(range(18, 104, 5)):
        if i == 8:
            t.append(mido.MetaMessage('set_tempo', tempo=mido.bpm2tempo(80), time=0))
        t.append(mido.Message('note_on', channel=3, note=key, velocity=90, time=PPQ if i else 0))
        t.append(mido.Message('note_off', channel=3, note=key, velocity=64, time=PPQ))
    m.save(path)
    return spans(path)


def spans(path):
    at, on, out = 0., {}, []
    for m in mido.MidiFile(path):
        at += m.time
        if m.type == 'note_on' and m.velocity:
            on[m.channel, m.note] = at
        elif m.type in ('note_on', 'note_off'):
            out.append((on.pop((m.channel, m.note)), at, m.note))
    return out


def chords(path):
    """Sixteen bars of chords of nine notes on a channel, over a line and a bass of their own."""
    m = mido.MidiFile(ticks_per_beat=PPQ)
    t = mido.MidiTrack()
    m.tracks.append(t)
    for bar in range(16):
        keys = [36 + bar % 5 + i * 5 for i in range(9)]
        for k in keys:
            t.append(mido.Message('note_on', channel=0, note=k, velocity=70))
        t.append(mido.Message('note_on', channel=1, note=84 + bar % 7, velocity=100))
        t.append(mido.Message('note_on', channel=2, note=33 + bar % 5, velocity=100))
        t.append(mido.Message('note_off', channel=1, note=84 + bar % 7, time=2 * PPQ))
        t.append(mido.Message('note_off', channel=2, note=33 + bar % 5, time=2 * PPQ))
        for k in keys:
            t.append(mido.Message('note_off', channel=0, note=k))
    m.save(path)


def lasts(c, path, w, what, factor=1., end=None):
    s = wav.sox(w)['seconds']
    last = end if end is not None else max(b for _, b, _ in spans(path)) * factor
    c.that(last - .05 <= s <= last + wav.TAIL + .1, f'{what}: {s:.2f} s of sound for {last:.2f} s of music')


def foreign(c, d):
    c.here = 'a line that is no guitar\'s'
    mid, w = os.path.join(d, 'line.mid'), os.path.join(d, 'line.wav')
    notes = line(mid)
    error = write(mid, [w])
    if not c.that(not error, error):
        return
    lasts(c, mid, w, 'the whole')
    x = samples(w)
    for start, _, key in notes:
        first, n, hz = int((start + .1) * RATE), int(.4 * RATE), 440 * 2 ** ((key - 69) / 12)
        own, low, high = wav.shares(x, first, n, hz, (1, 2, 3))
        c.that(own > 2 * max(low, high) and own > .02, f'at {start:.2f} s the key {key} has {own:.3f} of the power, its neighbours {low:.3f} and {high:.3f}')
    for flags, what, factor in ((['--tempo', '50%'], 'at half the tempo', 2.), (['--rate', '44100', '--bits', '32f'], 'in another format', 1.)):
        error = write(mid, [w], flags)
        if c.that(not error, error):
            lasts(c, mid, w, what, factor)
    error = write(mid, [w], ['--bars', '2-3'])
    if c.that(not error, error):
        lasts(c, mid, w, 'two bars', end=7 * 60 / 100)  # 4 notes, the last a beat long


def loud(c, d):
    """Whatever is written in a file, it is no louder than an arrangement."""
    files = [os.path.join(d, 'chords.mid')]
    chords(files[0])
    if DATA:
        files.append(os.path.join(DATA, 'peers', 'synth', 'guitar6.mid'))
    else:
        print('stands: THUMBLINE_DATA is not set: guitar6.mid is not played')
    for mid in files:
        c.here = os.path.basename(mid)
        w = os.path.join(d, 'loud.wav')
        error = write(mid, [w])
        if not c.that(not error, error):
            continue
        lasts(c, mid, w, 'the whole')
        lufs, peak = wav.loudness(w)
        c.that(wav.LOUDNESS - 4 <= lufs <= wav.LOUDNESS + 3 and peak <= wav.PEAK, f'{lufs} LUFS, true peak {peak} dBTP')
        print(f'{c.here}: {lufs} LUFS, true peak {peak} dBTP')


def own(c, d):
    """What we wrote as MIDI keeps its strings: it sounds as the sheet did."""
    c.here = 'the demo from its own MIDI file'
    mid, a, b = (os.path.join(d, n) for n in ('own.mid', 'own.wav', 'back.wav'))
    # A file has whole microseconds a quarter: at 120 nothing is rounded.
    error = write(DEMO, [mid, a], ['--no-spread', '--feel', 'straight', '--tempo', '120']) or write(mid, [b])
    if c.that(not error, error):
        level, rest = wav.rms(a), wav.rms('-m', '-v', '-1', a, '-v', '1', b)
        c.that(rest <= level + OFF, f'{rest} dB are left of {level}')


def main():
    c = Check('as it stands')
    with tempfile.TemporaryDirectory() as d:
        guitar = ['melody', 'inner', 'bass']
        for flags, names in (([], guitar), (['--gain', '12', '--tone', 'steel'], guitar), (['--setting', 'trio'], guitar + ['bassist', 'time'])):
            stems(c, d, flags, names)
        foreign(c, d)
        loud(c, d)
        own(c, d)
    return c.done()


if __name__ == '__main__':
    sys.exit(main())
