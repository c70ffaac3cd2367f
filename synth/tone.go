package synth

// A tone is what the instrument is: its strings, its body, what it is heard
// through. What the hand does (velocity, place, palm) is kept apart. A value in
// the table of tones has its source beside it; "ours" is a start value chosen
// here, by measuring the sound and not from an instrument.
type tone struct {
	name string

	// t60 are decay times of the fundamental in s of the open strings
	// E2 A2 D3 G3 B3 E4; a fretted string has 0.6^(fret/12) of that. t60High is
	// the decay time near 2 kHz of an open string; it shortens less along the
	// neck.
	t60     [6]float64
	t60High float64

	// stiff is the inharmonicity B of the same open strings; it grows as
	// 2^(fret/6) along the neck.
	stiff [6]float64
	// Two polarisations: how far apart in cents, and how much of the stroke
	// goes along the top.
	apart, along float64

	scale float64 // sounding length of the open string, mm
	pluck float64 // usual distance of the pluck from the bridge, mm
	edge  float64 // how long finger or pick needs to leave the string, s

	// Bandwidth in Hz of the pluck at the softest and the hardest stroke.
	softHz, hardHz float64
	// bandwidth of the low strings over that of the high ones: a wound string
	// under the thumb is darker than a plain one under a nail.
	lowDarker float64

	pickup float64 // distance of the pick-up from the bridge, mm; 0 none
	aper   float64 // depth of the pick-up's comb, 0 to 1

	noise float64 // scrape of the finger before the string goes, against the stroke
	knock float64 // push on the body when the string goes, against the stroke

	direct  float64 // string heard without the body
	cabinet float64 // corner of the lowpass the direct sound goes through, Hz
	cabQ    float64
	modes   []mode
	room    float64 // how much of the small room
	level   float64 // makes an arrangement come out near -18 LUFS
}

// A mode is one resonance of the body.
type mode struct {
	hz, q, gain float64
	side        float64 // -1 left, 0 both, 1 right
}

// Open pitches the decay times of a tone belong to.
var openE = [6]float64{40, 45, 50, 55, 59, 64}

// What holds for every tone:
//   - t60: target bands of common practice, below the strings' own losses
//     (Woodhouse, Acta Acustica 90, 945: nylon E2 11.4 s to E4 5.9 s), since a
//     body takes more; t60High: ours, inside the same bands near 2 kHz.
//   - modes: air 90 to 120 Hz, top 170 to 230, back 200 to 280, Q 15 to 40
//     (Fletcher and Rossing, The Physics of Musical Instruments, ch. 9), then the
//     two formants that a guitar's tone wants, 500 to 800 Hz and 1.5 to 4 kHz
//     (Jansson, JASA 71, S8); where in those ranges, and gains and sides: ours.
//   - apart, along: 0.05 to 0.3 Hz and -6 to -15 dB are common practice; ours
//     within that for most of the neck.
//   - scale, pluck: common practice (jazz players pluck 120 to 200 mm from the
//     bridge); pickup: ours.
//   - edge, softHz, hardHz, lowDarker, aper, noise, knock, direct, cabinet, cabQ,
//     room, level: ours.
var tones = []tone{
	{
		name:    "archtop",
		t60:     [6]float64{8, 8, 7, 6, 5, 4.5},
		t60High: 2.0,
		stiff:   [6]float64{1.1e-4, 8e-5, 5e-5, 6e-5, 6e-5, 1.9e-5}, // computed as for steel; its wound third: ours
		apart:   0.6, along: 0.2,
		scale: 630, pluck: 140, edge: 0.22e-3,
		softHz: 230, hardHz: 7500, lowDarker: 0.8,
		pickup: 150, aper: 0.55,
		noise: 0.012, knock: 1.5,
		direct: 1, cabinet: 4600, cabQ: 0.65,
		modes: []mode{
			{105, 12, 0.10, 0}, {210, 18, 0.10, -0.3}, {275, 20, 0.08, 0.3},
			{430, 14, 0.07, -0.5}, {650, 8, 0.10, 0.5}, {1900, 3, 0.10, 0},
		},
		room: 0.10, level: 0.219,
	},
	{
		name:    "nylon",
		t60:     [6]float64{6, 6.5, 6, 4.5, 4, 3.5},
		t60High: 1.5,
		stiff:   [6]float64{1.9e-5, 1.3e-5, 1.7e-5, 1.24e-4, 7.0e-5, 4.3e-5}, // measured: Woodhouse, Acta Acustica 90, 945, table 1, EI and T
		apart:   0.7, along: 0.28,
		scale: 650, pluck: 130, edge: 0.25e-3,
		softHz: 240, hardHz: 8500, lowDarker: 0.8,
		noise: 0.016, knock: 3.5,
		direct: 0.75, cabinet: 6500, cabQ: 0.6,
		modes: []mode{
			{98, 15, 0.20, 0}, {196, 22, 0.22, -0.2}, {238, 25, 0.16, 0.3},
			{395, 25, 0.14, -0.5}, {540, 18, 0.16, 0.5}, {720, 14, 0.16, -0.3},
			{1050, 10, 0.12, 0.4}, {1750, 5, 0.16, -0.3}, {2700, 4, 0.14, 0.3},
		},
		room: 0.14, level: 0.262,
	},
	{
		name:    "steel",
		t60:     [6]float64{9, 9, 8, 6, 5.5, 5},
		t60High: 2.6,
		stiff:   [6]float64{1.1e-4, 8e-5, 5e-5, 4e-5, 6e-5, 1.9e-5}, // computed: pi^3 E d^4/(64 T L^2), a wound string by its core
		apart:   0.7, along: 0.22,
		scale: 645, pluck: 125, edge: 0.12e-3,
		softHz: 380, hardHz: 12000, lowDarker: 0.85,
		noise: 0.016, knock: 3,
		direct: 0.75, cabinet: 9000, cabQ: 0.6,
		modes: []mode{
			{102, 16, 0.18, 0}, {190, 22, 0.20, -0.2}, {230, 25, 0.16, 0.3},
			{380, 25, 0.12, -0.5}, {560, 18, 0.14, 0.5}, {780, 12, 0.14, -0.3},
			{1200, 8, 0.12, 0.4}, {2100, 4, 0.16, -0.3}, {3400, 4, 0.14, 0.3},
		},
		room: 0.12, level: 0.262,
	},
}

// bassTone is the plain bass on BassChannel: long strings under a soft finger.
var bassTone = tone{
	name:    "bass",
	t60:     [6]float64{4.5, 4, 3.5, 3, 2.5, 2},
	t60High: 0.7,
	scale:   1050, pluck: 230, edge: 1.2e-3,
	softHz: 150, hardHz: 1500, lowDarker: 1,
	noise: 0.006, level: 0.25,
}

// bassOpen is the open pitch a bass note's decay is reckoned from.
const bassOpen = 28

// stiffAt is the inharmonicity of an open string of that pitch.
func (t *tone) stiffAt(open float64) float64 { return along(t.stiff, open) }

// t60At is the decay time of the fundamental of an open string of that pitch.
func (t *tone) t60At(open float64) float64 { return along(t.t60, open) }

// along reads a table of the six strings at any open pitch.
func along(table [6]float64, open float64) float64 {
	if open <= openE[0] {
		return table[0]
	}
	for i := 1; i < len(openE); i++ {
		if open <= openE[i] {
			f := (open - openE[i-1]) / (openE[i] - openE[i-1])
			return table[i-1] + f*(table[i]-table[i-1])
		}
	}
	return table[len(table)-1]
}
