// Writes chords.tsv: what two chord libraries read in the symbols of a chart.
// README.md says how to run it and what the columns are.
import { readFileSync } from 'node:fs';
import { Chord, Note } from 'tonal';
import chordSymbol from 'chord-symbol/lib/chord-symbol.js';

const roots = ['C', 'Db', 'D', 'Eb', 'E', 'F', 'Gb', 'G', 'Ab', 'A', 'Bb', 'B'];

// One line a quality: our spelling, then other spellings of the same chord for
// a library that does not read it. "-" in place of ours is the bare root.
const qualities = `
-
m
7
maj7
m7
6
m6
m7b5
dim7
dim
aug
9
maj9
m9
13
maj13
m13
m11
69
m69
m(maj7) m/maj7
m(maj9) mMaj9
7sus4
9sus4
13sus4
sus4
sus2
7b9
7#9
7#5
7b5
7#11
7b13
9#5
9b5
9#11
9b13
13b9
13#9
13#11
13b9#11
7b9b13
7#9b13
7b9#11
7b9#11b13
7#9#11b13
9#11b13
7#9#11
7b9#9
7b5b9
7b5#9
7#5b9
7#5#9
7alt
7sus4b9 7b9sus4
13sus4b9
maj7#11
maj9#11
maj13#11
maj7#5
maj7b5 M7b5
69#11
(add9) add9
m(add9) madd9
(add11)
m(add11) madd4
m7(add11) m7add11
m(maj11)
m9b5
m11b5
dim(maj7) oM7
m#5
m7#5
maj7sus4 M7sus4
maj9sus4 M9sus4
6sus4
69sus4
7sus2
sus2sus4 sus24
(b5) Mb5
5
`.trim().split('\n').map((line) => line.split(' ').map((q) => (q === '-' ? '' : q)));

const parse = chordSymbol.chordParserFactory();

// The pitch classes a library reads in a symbol, undefined where it does not.
const libraries = {
  tonal(symbol) {
    const chord = Chord.get(symbol);
    return chord.empty ? undefined : chord.notes.map(Note.chroma);
  },
  'chord-symbol'(symbol) {
    const chord = parse(symbol);
    return chord.error ? undefined : chord.normalized.notes.map(Note.chroma);
  },
};

// Pitch classes as digits 0-9 t e, the root first and then upwards.
function digits(pcs, root) {
  const above = (pc) => (pc - Note.chroma(root) + 12) % 12;
  return [...new Set(pcs)].sort((a, b) => above(a) - above(b)).map((pc) => '0123456789te'[pc]).join('');
}

console.log(['quality', 'library', 'read as', ...roots].join('\t'));
for (const forms of qualities) {
  for (const [name, read] of Object.entries(libraries)) {
    const form = forms.find((f) => roots.every((root) => read(root + f)));
    const sets = roots.map((root) => (form === undefined ? '-' : digits(read(root + form), root)));
    console.log([forms[0] || 'major', name, form === undefined ? '-' : form || 'major', ...sets].join('\t'));
  }
}

for (const name of Object.keys(libraries)) {
  const { version } = JSON.parse(readFileSync(`node_modules/${name}/package.json`));
  console.error(`${name} ${version}`);
}
