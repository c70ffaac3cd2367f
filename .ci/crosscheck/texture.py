"""Figures of the texture that the judge does not have: the same rhythm five bars running where the tune leaves room for
another, phrase ends with room to breathe, and how much is added to the tune.

measure(a, phrases) -> (a Counter, {figure: [bars]}), from the JSON and the phrases that `check` prints, with none of the
program's code.
"""
import bisect
import collections
import re

from common import told

SLOW = 90  # beats a minute, up to which a beat without an attack is a breath and no hole
RUN = 5    # bars
# name, part, whole, wanted at medium: what published arrangements and the models have
FIGURES = (
    ('own: phrase ends with room to breathe', 'ends_breathe', 'ends', '>= 85'),
    ('own: bars in a rhythm that runs five bars though there is room', 'run_bars', 'own_bars', '<= 2'),
)


def phrases(sheet):
    """[(label of the first bar, of the last)]"""
    return [(a, b or a) for a, b in re.findall(r'\d+: ([^\s,-]+)(?:-([^\s,]+))?', told(sheet, 'phrases'))]


def part(times, a, b):
    return times[bisect.bisect_left(times, a):bisect.bisect_left(times, b)]


def measure(a, ends):
    r, where = collections.Counter(), collections.defaultdict(list)
    bars, struck = a['bars'], collections.Counter(n['at'] for n in a['notes'])
    times, tune = sorted(struck), {m['at'] for m in a['melody']}
    r['own_added'] = sum(n['voice'] != 'melody' or n['fill'] for n in a['notes'])
    r['own_bars'] = len(bars)
    rhythms = [[t - b['at'] for t in part(times, b['at'], b['at'] + b['len'])] for b in bars]
    i = 0
    while i < len(bars):
        j = i
        while j < len(bars) and rhythms[j] == rhythms[i]:
            j += 1
        if rhythms[i] and j - i >= RUN and any(set(halves(b, 60 * b['beat'] / a['ticksPerQuarter'] / a['tempo'])) - tune for b in bars[i:j]):
            r['run_bars'] += j - i
            where['runs'].append(f"{bars[i]['label']}-{bars[j - 1]['label']}")
        i = j
    place = {b['label']: b for b in bars}
    for _, last in ends:
        b = place[last]
        beat, end = b['beat'], b['at'] + b['len']
        if any(end - beat <= c['at'] < end for c in a['chords']):
            continue  # the chord that changes in the last beat has its harmony there
        breathes = all(struck[t] == 1 for t in part(times, end - beat, end))
        if a['tempo'] * a['ticksPerQuarter'] / beat <= SLOW:
            breathes = breathes or any(not part(times, t, t + beat) for t in range(b['at'], end, beat))
        r['ends'] += 1
        r['ends_breathe'] += breathes
        if not breathes:
            where['ends'].append(last)
    return r, where


def halves(b, seconds):
    """The half-beats of a bar, thirds where the beat is dotted; the beats where these are too short to strike anything in.
    seconds is how long a beat lasts."""
    parts = 3 if b['beat'] % 1440 == 0 else 2
    return range(b['at'], b['at'] + b['len'], b['beat'] // (parts if seconds / parts >= 0.14 else 1))
