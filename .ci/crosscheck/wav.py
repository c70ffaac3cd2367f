"""Our WAV files as sox, ffprobe and ffmpeg read them, against the length and the pitches of the JSON, in every format, tone and
density; the tune as aubio hears it; in a trio each layer against the guitar."""
import json
import math
import os
import re
import sys
import tempfile

import form
from common import DEMO, DENSITIES, RATE, Check, run, samples, write

TAIL = 4.0       # the last notes may ring on for this long
LOUDNESS = -18   # LUFS, a whole arrangement
PEAK = -1        # dBTP, at most
HEARD = .98      # of the tune's notes, by a listener that knows nothing of it
WITHIN = .05     # s of where they are written
TONES = ('archtop', 'nylon', 'steel')


def sox(path):
    out = {}
    for flag, name in (('-r', 'rate'), ('-c', 'channels'), ('-b', 'bits'), ('-D', 'seconds')):
        r = run(['sox', '--i', flag, path])
        if r.returncode or r.stderr.strip():
            raise ValueError(f'sox: {r.stderr.strip()}')
        out[name] = float(r.stdout)
    return out


def ffprobe(path):
    r = run(['ffprobe', '-v', 'error', '-of', 'json', '-show_streams', path])
    if r.returncode or r.stderr.strip():
        raise ValueError(f'ffprobe: {r.stderr.strip()}')
    s, = json.loads(r.stdout)['streams']
    return {'rate': float(s['sample_rate']), 'channels': s['channels'], 'bits': s['bits_per_sample'], 'seconds': float(s['duration']),
            'codec': s['codec_name']}


def loudness(path):
    """Integrated loudness in LUFS and true peak in dBTP."""
    r = run(['ffmpeg', '-hide_banner', '-nostats', '-i', path, '-af', 'ebur128=peak=true:framelog=verbose', '-nostdin', '-f', 'null', '-'])
    if r.returncode:  # ffmpeg prints a summary of zeros even then
        raise ValueError(f'ffmpeg: {r.stderr.strip()[-200:]}')
    summary = r.stderr[r.stderr.rindex('Summary'):]
    return float(re.search(r'I: +(-?[0-9.]+) LUFS', summary)[1]), float(re.search(r'Peak: +(-?[0-9.]+) dBFS', summary)[1])


def power(x, start, n, hz):
    """Share of the power of n samples that lies near a frequency (Goertzel's recursion, Hann window)."""
    w = 2 * math.pi * hz / RATE
    k, s1, s2, total = 2 * math.cos(w), 0., 0., 0.
    for i in range(n):
        v = x[start + i] * (.5 - .5 * math.cos(2 * math.pi * i / n))
        s1, s2 = v + k * s1 - s2, s1
        total += v * v
    return (s1 * s1 + s2 * s2 - k * s1 * s2) / (total * n or 1)


def shares(x, start, n, hz, partials=(1,)):
    """The share of the power that partials of a note have, and of those a semitone below and above."""
    return [sum(power(x, start, n, k * hz * 2 ** (off / 12)) for k in partials) for off in (0, -1, 1)]


def long_notes(a, notes, x):
    """(note, first sample to look at, how many, Hz) of those of a third of a second or more."""
    per_tick = 60 / a['tempo'] / 960
    for m in notes:
        if m['dur'] * per_tick < 1 / 3:
            continue
        start, n = int((m['at'] * per_tick + .06) * RATE), int(.25 * RATE)
        if start + n > len(x):
            return
        yield m, start, n, 440 * 2 ** ((m['midi'] - 69) / 12)


def pitches(c, a, path):
    """The tune alone: under each note of a third of a second or more, its fundamental outweighs those a semitone away."""
    x, heard = samples(path), 0
    for m, start, n, hz in long_notes(a, [m for m in a['notes'] if m['voice'] == 'melody'], x):
        own, low, high = shares(x, start, n, hz)
        c.that(own > 4 * max(low, high) and own > .02,
               f"at tick {m['at']} the pitch {m['midi']} has {own:.3f} of the power, its neighbours {low:.3f} and {high:.3f}")
        heard += 1
    c.that(heard > 0, 'no note long enough to measure')


def rms(*args):
    """The level in dBFS that sox tells of a file, or of what it makes of several; -inf for silence."""
    r = run(['sox', *args, '-n', 'stats'])
    m = re.search(r'^RMS lev dB +(-?[0-9.]+|-inf)', r.stderr, re.M)
    if r.returncode or not m:
        raise ValueError(f'sox: {r.stderr.strip()[-200:]}')
    return float(m[1])


def bass(c, a, path):
    """The bass alone: under each note of a third of a second or more its first three partials outweigh those a semitone away."""
    x, heard = samples(path), 0
    for m, start, n, hz in long_notes(a, a['bassist'], x):
        own, low, high = shares(x, start, n, hz, (1, 2, 3))
        c.that(own > 2 * max(low, high), f"at tick {m['at']} the bass's {m['midi']} has {own:.3f} of the power, its neighbours {low:.3f} and {high:.3f}")
        heard += 1
    c.that(heard > 0, 'no bass note long enough to measure')


def trio(c, sheet, d):
    """Each of the company alone is softer than the guitar, and all of it together is no louder than it may be."""
    c.here = os.path.basename(sheet) + ' (trio)'
    level, power_ = {}, {}
    for name, flags in (('all', []), ('guitar', ['--mute', 'bassist,time']), ('bassist', ['--only', 'bassist']), ('time', ['--only', 'time'])):
        w = os.path.join(d, name + '.wav')
        error = write(sheet, [w], ['--setting', 'trio'] + flags)
        if not c.that(not error, error):
            return
        level[name], peak = loudness(w)
        power_[name] = rms(w)
        c.that(peak <= PEAK - 1, f'{name}: true peak {peak} dBTP')
    for name, by in (('bassist', 3), ('time', 8)):
        for kind, v in (('LUFS', level), ('dB rms', power_)):
            c.that(v['guitar'] - by >= v[name], f"{name} {v[name]} {kind}, the guitar {v['guitar']}: less than {by} dB apart")
        c.that(level[name] > level['guitar'] - 25, f"{name} {level[name]} LUFS: hardly heard")
    c.that(level['guitar'] - .5 <= level['all'] <= LOUDNESS + 3, f"together {level['all']} LUFS, the guitar {level['guitar']}")
    print(f"{c.here}: " + ', '.join(f'{n} {level[n]} LUFS {power_[n]} dB rms' for n in level))


def levels(c, d):
    """The demo is as loud as it should be and never too loud, in every tone and density, alone and in company."""
    for setting in ('solo', 'trio'):
        for tone in TONES:
            for density in DENSITIES:
                c.here = f'{os.path.basename(DEMO)} ({setting}, {tone}, {density})'
                w = os.path.join(d, 'level.wav')
                error = write(DEMO, [w], ['--setting', setting, '--tone', tone, '--density', density])
                if not c.that(not error, error):
                    continue
                level, peak = loudness(w)
                c.that(LOUDNESS - 2 <= level <= LOUDNESS + 2, f'{level} LUFS, not {LOUDNESS} within 2')
                c.that(peak <= PEAK, f'true peak {peak} dBTP')
                print(f'{c.here}: {level} LUFS, true peak {peak} dBTP')


def formats(c, d):
    """Every size of sample at every rate, as sox and ffprobe name it; all of them are one sound."""
    first = None
    for rate in (44100, 48000, 88200, 96000):
        for bits, codec in (('16', 'pcm_s16le'), ('24', 'pcm_s24le'), ('32f', 'pcm_f32le')):
            c.here = f'{bits} bits at {rate} Hz'
            w = os.path.join(d, 'format.wav')
            error = write(DEMO, [w], ['--bits', bits, '--rate', str(rate), '--bars', '1-4'])
            if not c.that(not error, error):
                continue
            s, f = sox(w), ffprobe(w)
            n = int(bits.rstrip('f'))
            c.that((s['rate'], s['channels'], s['bits']) == (rate, 2, n), f'sox: {s}')
            c.that((f['rate'], f['channels'], f['bits'], f['codec']) == (rate, 2, n, codec), f'ffprobe: {f}')
            level, peak = loudness(w)
            first = first or (level, s['seconds'])
            c.that(abs(level - first[0]) <= .2 and abs(s['seconds'] - first[1]) <= .1 and peak <= PEAK,
                   f"{level} LUFS, {s['seconds']} s, true peak {peak} dBTP; the first format {first}")


def heard(c, d):
    """aubionotes, which knows only the sound, hears the tune: each note's pitch, and its onset within 50 ms."""
    import mido
    for tone in TONES:
        c.here = f'the tune of {os.path.basename(DEMO)} by ear ({tone})'
        w, mid = os.path.join(d, 'heard.wav'), os.path.join(d, 'heard.mid')
        error = write(DEMO, [w, mid], ['--only', 'melody', '--tone', tone])
        if not c.that(not error, error):
            continue
        at, struck = 0., []
        for m in mido.MidiFile(mid):
            at += m.time
            if m.type == 'note_on' and m.velocity:
                struck.append((at, m.note))
        r = run(['aubionotes', '-i', w])
        lines = [line.split() for line in r.stdout.splitlines()]
        got = [(float(x[1]), round(float(x[0]))) for x in lines if len(x) == 3]
        found = [n for n in struck if any(p == n[1] and abs(t - n[0]) <= WITHIN for t, p in got)]
        for t, p in sorted(set(struck) - set(found)):
            print(f'{c.here}: not heard: {p} at {t:.2f} s')
        c.that(r.returncode == 0 and struck and len(found) >= HEARD * len(struck), f'{len(found)} of {len(struck)} notes heard {r.stderr.strip()}')
        c.that(len(got) <= len(struck) * 1.05, f'{len(got)} notes heard where {len(struck)} are struck')
        print(f'{c.here}: {len(found)} of {len(struck)} notes, {len(got)} heard')


def one(c, sheet, d, demo):
    c.here = os.path.basename(sheet)
    w, j = os.path.join(d, 'x.wav'), os.path.join(d, 'x.json')
    error = write(sheet, [w, j])
    if not c.that(not error, error):
        return
    try:
        a = form.load(j)
        s, f = sox(w), ffprobe(w)
        level, peak = loudness(w)
    except (ValueError, OSError) as e:
        c.fail(f'unreadable: {e}')
        return
    for reader, got in (('sox', s), ('ffprobe', f)):
        c.that((got['rate'], got['channels'], got['bits']) == (RATE, 2, 16), f'{reader}: {got}')
    c.that(f['codec'] == 'pcm_s16le', f"ffprobe: {f['codec']}")
    c.that(abs(s['seconds'] - f['seconds']) < 1e-3, f"sox {s['seconds']} s, ffprobe {f['seconds']} s")
    mid = os.path.join(d, 'x.mid')  # tempo may change inside, and only the MIDI file tells how
    error = write(sheet, [mid])
    if c.that(not error, error):
        import mido
        marks = [m for m in mido.MidiFile(mid) if m.type in ('note_on', 'note_off', 'set_tempo')]
        last = sum(m.time for m in mido.MidiFile(mid) if m.type != 'end_of_track') if marks else 0
        c.that(last - .05 <= s['seconds'] <= last + TAIL + .1, f"{s['seconds']:.2f} s of sound for {last:.2f} s of music")
    c.that(peak <= PEAK, f'true peak {peak} dBTP')
    if demo:
        c.that(abs(level - LOUDNESS) <= 2, f'{level} LUFS, not {LOUDNESS} within 2')
    else:  # a lone tune is softer than a full arrangement, never louder
        c.that(LOUDNESS - 8 <= level <= LOUDNESS + 3, f'{level} LUFS')
    print(f"{c.here}: {s['seconds']:.2f} s, {level} LUFS, true peak {peak} dBTP")


def main(sheets):
    c = Check('WAV')
    with tempfile.TemporaryDirectory() as d:
        for sheet in sheets:
            one(c, sheet, d, sheet == DEMO)
        levels(c, d)
        formats(c, d)
        heard(c, d)
        c.here = 'the tune of ' + os.path.basename(DEMO)
        w, j = os.path.join(d, 'm.wav'), os.path.join(d, 'm.json')
        error = write(DEMO, [w, j], ['--only', 'melody', '--feel', 'straight', '--no-spread'])
        if c.that(not error, error):
            pitches(c, form.load(j), w)
        for sheet in sheets:
            trio(c, sheet, d)
        c.here = 'the bass of ' + os.path.basename(DEMO)
        error = write(DEMO, [w, j], ['--setting', 'trio', '--only', 'bassist', '--feel', 'straight'])
        if c.that(not error, error):
            bass(c, form.load(j), w)
    return c.done()


if __name__ == '__main__':
    sys.exit(main(sys.argv[1:] or [DEMO]))
