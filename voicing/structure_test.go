package voicing_test

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/voicing"
)

// The tables of harmony.md 1.5, 1.6 and 2.2-2.5 as they stand there, all
// [CALC]; the columns are named at their tests.
const (
	chainsFromC3 = `
0 | C6/C | C3 E3 G3 A3 (48 52 55 57) | C3 G3 A3 E4 (48 55 57 64) | C3 A3 E4 G4 (48 57 64 67) | C3 G3 E4 A4 (48 55 64 69)
1 | Ddim7/D | D3 F3 Ab3 B3 (50 53 56 59) | D3 Ab3 B3 F4 (50 56 59 65) | D3 B3 F4 Ab4 (50 59 65 68) | D3 Ab3 F4 B4 (50 56 65 71)
2 | C6/E | E3 G3 A3 C4 (52 55 57 60) | E3 A3 C4 G4 (52 57 60 67) | E3 C4 G4 A4 (52 60 67 69) | E3 A3 G4 C5 (52 57 67 72)
3 | Ddim7/F | F3 Ab3 B3 D4 (53 56 59 62) | F3 B3 D4 Ab4 (53 59 62 68) | F3 D4 Ab4 B4 (53 62 68 71) | F3 B3 Ab4 D5 (53 59 68 74)
4 | C6/G | G3 A3 C4 E4 (55 57 60 64) | G3 C4 E4 A4 (55 60 64 69) | G3 E4 A4 C5 (55 64 69 72) | G3 C4 A4 E5 (55 60 69 76)
5 | Ddim7/Ab | Ab3 B3 D4 F4 (56 59 62 65) | Ab3 D4 F4 B4 (56 62 65 71) | Ab3 F4 B4 D5 (56 65 71 74) | Ab3 D4 B4 F5 (56 62 71 77)
6 | C6/A | A3 C4 E4 G4 (57 60 64 67) | A3 E4 G4 C5 (57 64 67 72) | A3 G4 C5 E5 (57 67 72 76) | A3 E4 C5 G5 (57 64 72 79)
7 | Ddim7/B | B3 D4 F4 Ab4 (59 62 65 68) | B3 F4 Ab4 D5 (59 65 68 74) | B3 Ab4 D5 F5 (59 68 74 77) | B3 F4 D5 Ab5 (59 65 74 80)
`
	chainsFromF2 = `
0 | F6/F | F2 A2 C3 D3 (41 45 48 50) | F2 C3 D3 A3 (41 48 50 57) | F2 D3 A3 C4 (41 50 57 60) | F2 C3 A3 D4 (41 48 57 62)
1 | Gdim7/G | G2 Bb2 Db3 E3 (43 46 49 52) | G2 Db3 E3 Bb3 (43 49 52 58) | G2 E3 Bb3 Db4 (43 52 58 61) | G2 Db3 Bb3 E4 (43 49 58 64)
2 | F6/A | A2 C3 D3 F3 (45 48 50 53) | A2 D3 F3 C4 (45 50 53 60) | A2 F3 C4 D4 (45 53 60 62) | A2 D3 C4 F4 (45 50 60 65)
3 | Gdim7/Bb | Bb2 Db3 E3 G3 (46 49 52 55) | Bb2 E3 G3 Db4 (46 52 55 61) | Bb2 G3 Db4 E4 (46 55 61 64) | Bb2 E3 Db4 G4 (46 52 61 67)
4 | F6/C | C3 D3 F3 A3 (48 50 53 57) | C3 F3 A3 D4 (48 53 57 62) | C3 A3 D4 F4 (48 57 62 65) | C3 F3 D4 A4 (48 53 62 69)
5 | Gdim7/Db | Db3 E3 G3 Bb3 (49 52 55 58) | Db3 G3 Bb3 E4 (49 55 58 64) | Db3 Bb3 E4 G4 (49 58 64 67) | Db3 G3 E4 Bb4 (49 55 64 70)
6 | F6/D | D3 F3 A3 C4 (50 53 57 60) | D3 A3 C4 F4 (50 57 60 65) | D3 C4 F4 A4 (50 60 65 69) | D3 A3 F4 C5 (50 57 65 72)
7 | Gdim7/E | E3 G3 Bb3 Db4 (52 55 58 61) | E3 Bb3 Db4 G4 (52 58 61 67) | E3 Db4 G4 Bb4 (52 61 67 70) | E3 Bb3 G4 Db5 (52 58 67 73)
`
	chainsOfFamilies = `
0 | C3 G3 A3 Eb4 (48 55 57 63) | C3 G3 Bb3 E4 (48 55 58 64) | C3 Gb3 Bb3 E4 (48 54 58 64) | F2 C3 D3 Ab3 (41 48 50 56) | F2 C3 Eb3 A3 (41 48 51 57) | F2 B2 Eb3 A3 (41 47 51 57)
1 | D3 Ab3 B3 F4 (50 56 59 65) | D3 Ab3 B3 F4 (50 56 59 65) | D3 Ab3 B3 F4 (50 56 59 65) | G2 Db3 E3 Bb3 (43 49 52 58) | G2 Db3 E3 Bb3 (43 49 52 58) | G2 Db3 E3 Bb3 (43 49 52 58)
2 | Eb3 A3 C4 G4 (51 57 60 67) | E3 Bb3 C4 G4 (52 58 60 67) | E3 Bb3 C4 Gb4 (52 58 60 66) | Ab2 D3 F3 C4 (44 50 53 60) | A2 Eb3 F3 C4 (45 51 53 60) | A2 Eb3 F3 B3 (45 51 53 59)
3 | F3 B3 D4 Ab4 (53 59 62 68) | F3 B3 D4 Ab4 (53 59 62 68) | F3 B3 D4 Ab4 (53 59 62 68) | Bb2 E3 G3 Db4 (46 52 55 61) | Bb2 E3 G3 Db4 (46 52 55 61) | Bb2 E3 G3 Db4 (46 52 55 61)
4 | G3 C4 Eb4 A4 (55 60 63 69) | G3 C4 E4 Bb4 (55 60 64 70) | Gb3 C4 E4 Bb4 (54 60 64 70) | C3 F3 Ab3 D4 (48 53 56 62) | C3 F3 A3 Eb4 (48 53 57 63) | B2 F3 A3 Eb4 (47 53 57 63)
5 | Ab3 D4 F4 B4 (56 62 65 71) | Ab3 D4 F4 B4 (56 62 65 71) | Ab3 D4 F4 B4 (56 62 65 71) | Db3 G3 Bb3 E4 (49 55 58 64) | Db3 G3 Bb3 E4 (49 55 58 64) | Db3 G3 Bb3 E4 (49 55 58 64)
6 | A3 Eb4 G4 C5 (57 63 67 72) | Bb3 E4 G4 C5 (58 64 67 72) | Bb3 E4 Gb4 C5 (58 64 66 72) | D3 Ab3 C4 F4 (50 56 60 65) | Eb3 A3 C4 F4 (51 57 60 65) | Eb3 A3 B3 F4 (51 57 59 65)
7 | B3 F4 Ab4 D5 (59 65 68 74) | B3 F4 Ab4 D5 (59 65 68 74) | B3 F4 Ab4 D5 (59 65 68 74) | E3 Bb3 Db4 G4 (52 58 61 67) | E3 Bb3 Db4 G4 (52 58 61 67) | E3 Bb3 Db4 G4 (52 58 61 67)
`
	chainsUnderC = `
F4 (65) | 3 | D3 Ab3 B3 F4 | 0-1-0-1 | 5-6-4-6 | B2 Ab3 D4 F4 | 2-1-3-1 | 7-6-7-6 | Ab2 D3 B3 F4 | - | 4-5-4-6
G4 (67) | 4 | E3 A3 C4 G4 | 2-2-1-3 | 7-7-5-8 | C3 A3 E4 G4 | 3-2-5-3 | 8-7-9-8 | A2 E3 C4 G4 | 0-2-1-3 | 5-7-5-8
Ab4 (68) | 5 | F3 B3 D4 Ab4 | 3-4-3-4 | 8-9-7-9 | D3 B3 F4 Ab4 | 5-4-6-4 | 10-9-10-9 | B2 F3 D4 Ab4 | 2-3-3-4 | 7-8-7-9
A4 (69) | 6 | G3 C4 E4 A4 | 5-5-5-5 | 10-10-9-10 | E3 C4 G4 A4 | 7-5-8-5 | 12-10-12-10 | C3 G3 E4 A4 | 3-5-5-5 | 8-10-9-10
B4 (71) | 7 | Ab3 D4 F4 B4 | 6-7-6-7 | 11-12-10-12 | F3 D4 Ab4 B4 | 8-7-9-7 | 13-12-13-12 | D3 Ab3 F4 B4 | 5-6-6-7 | 10-11-10-12
C5 (72) | 8 | A3 E4 G4 C5 | 7-9-8-8 | 12-14-12-13 | G3 E4 A4 C5 | 10-9-10-8 | 15-14-14-13 | E3 A3 G4 C5 | 7-7-8-8 | 12-12-12-13
D5 (74) | 9 | B3 F4 Ab4 D5 | 9-10-9-10 | 14-15-13-15 | Ab3 F4 B4 D5 | 11-10-12-10 | - | F3 B3 Ab4 D5 | 8-9-9-10 | 13-14-13-15
E5 (76) | 10 | C4 G4 A4 E5 | 10-12-10-12 | - | A3 G4 C5 E5 | 12-12-13-12 | - | G3 C4 A4 E5 | 10-10-10-12 | -
`
	chainsUnderF = `
E4 (64) | -1 | Db3 G3 Bb3 E4 | - | 4-5-3-5 | Bb2 G3 Db4 E4 | 1-0-2-0 | 6-5-6-5 | G2 Db3 Bb3 E4 | - | 3-4-3-5
F4 (65) | 0 | D3 A3 C4 F4 | 0-2-1-1 | 5-7-5-6 | C3 A3 D4 F4 | 3-2-3-1 | 8-7-7-6 | A2 D3 C4 F4 | 0-0-1-1 | 5-5-5-6
G4 (67) | 1 | E3 Bb3 Db4 G4 | 2-3-2-3 | 7-8-6-8 | Db3 Bb3 E4 G4 | 4-3-5-3 | 9-8-9-8 | Bb2 E3 Db4 G4 | 1-2-2-3 | 6-7-6-8
A4 (69) | 2 | F3 C4 D4 A4 | 3-5-3-5 | 8-10-7-10 | D3 C4 F4 A4 | 5-5-6-5 | 10-10-10-10 | C3 F3 D4 A4 | 3-3-3-5 | 8-8-7-10
Bb4 (70) | 3 | G3 Db4 E4 Bb4 | 5-6-5-6 | 10-11-9-11 | E3 Db4 G4 Bb4 | 7-6-8-6 | 12-11-12-11 | Db3 G3 E4 Bb4 | 4-5-5-6 | 9-10-9-11
C5 (72) | 4 | A3 D4 F4 C5 | 7-7-6-8 | 12-12-10-13 | F3 D4 A4 C5 | 8-7-10-8 | 13-12-14-13 | D3 A3 F4 C5 | 5-7-6-8 | 10-12-10-13
Db5 (73) | 5 | Bb3 E4 G4 Db5 | 8-9-8-9 | 13-14-12-14 | G3 E4 Bb4 Db5 | 10-9-11-9 | 15-14-15-14 | E3 Bb3 G4 Db5 | 7-8-8-9 | 12-13-12-14
D5 (74) | 6 | C4 F4 A4 D5 | 10-10-10-10 | 15-15-14-15 | A3 F4 C5 D5 | 12-10-13-10 | - | F3 C4 A4 D5 | 8-10-10-10 | 13-15-14-15
`
	borrowedSets = `
Bb6 | Bb | C | above | +2 | C D F G | G7sus4 | Bb6/9 without root
Bb6 | Bb | A | below | -1 | A D F G | Dm(add11) | Bbmaj13 without root
Bb6 | D | Eb | above | +1 | Bb Eb F G | Eb(add9) | Bb6sus4
Bb6 | D | C | below | -2 | Bb C F G | C7sus4 | Bb6sus2
Bb6 | F | Gb | above | +1 | Bb D Gb G | Gm(maj7) | Bb6#5
Bb6 | F | Eb | below | -2 | Bb D Eb G | Ebmaj7 | Bb6 with 4 for 5
Bb6 | G | A | above | +2 | Bb D F A | Bbmaj7 | -
Bb6 | G | Gb | below | -1 | Bb D F Gb | Gbmaj7#5 | Bb(add b6)
Adim7 | C | D | above | +2 | D Eb Gb A | Ebdim(maj7) | D(add b9)
Adim7 | C | Bb | below | -2 | Bb Eb Gb A | Ebm(add#11) | -
Adim7 | Eb | F | above | +2 | C F Gb A | F#dim(maj7) | F(add b9)
Adim7 | Eb | D | below | -1 | C D Gb A | D7 | -
Adim7 | Gb | G | above | +1 | C Eb G A | Am7b5 | Cm6
Adim7 | Gb | F | below | -1 | C Eb F A | F7 | -
Adim7 | A | Bb | above | +1 | C Eb Gb Bb | Cm7b5 | Ebm6
Adim7 | A | G | below | -2 | C Eb Gb G | Cm(add#11) | -
`
	borrowedInversions = `
Bb2 F3 G3 D4 (46 53 55 62) | bass Bb | C3 F3 G3 D4 (48 53 55 62) G7sus4/C | A2 F3 G3 D4 (45 53 55 62) Dm(add11)/A
 | tenor F | Bb2 Gb3 G3 D4 (46 54 55 62) Gm(maj7)/Bb | Bb2 Eb3 G3 D4 (46 51 55 62) Ebmaj7/Bb
 | alto G | Bb2 F3 A3 D4 (46 53 57 62) Bbmaj7 | Bb2 F3 Gb3 D4 (46 53 54 62) Gbmaj7#5/Bb
 | top D | Bb2 F3 G3 Eb4 (46 53 55 63) Eb(add9)/Bb | Bb2 F3 G3 C4 (46 53 55 60) C7sus4/Bb
D3 G3 Bb3 F4 (50 55 58 65) | bass D | Eb3 G3 Bb3 F4 (51 55 58 65) Eb(add9) | C3 G3 Bb3 F4 (48 55 58 65) C7sus4
 | tenor G | D3 A3 Bb3 F4 (50 57 58 65) Bbmaj7/D | D3 Gb3 Bb3 F4 (50 54 58 65) Gbmaj7#5/D
 | alto Bb | D3 G3 C4 F4 (50 55 60 65) G7sus4/D | D3 G3 A3 F4 (50 55 57 65) Dm(add11)
 | top F | D3 G3 Bb3 Gb4 (50 55 58 66) Gm(maj7)/D | D3 G3 Bb3 Eb4 (50 55 58 63) Ebmaj7/D
F3 Bb3 D4 G4 (53 58 62 67) | bass F | Gb3 Bb3 D4 G4 (54 58 62 67) Gm(maj7)/Gb | Eb3 Bb3 D4 G4 (51 58 62 67) Ebmaj7
 | tenor Bb | F3 C4 D4 G4 (53 60 62 67) G7sus4/F | F3 A3 D4 G4 (53 57 62 67) Dm(add11)/F
 | alto D | F3 Bb3 Eb4 G4 (53 58 63 67) Eb(add9)/F | F3 Bb3 C4 G4 (53 58 60 67) C7sus4/F
 | top G | F3 Bb3 D4 A4 (53 58 62 69) Bbmaj7/F | F3 Bb3 D4 Gb4 (53 58 62 66) Gbmaj7#5/F
G3 D4 F4 Bb4 (55 62 65 70) | bass G | A3 D4 F4 Bb4 (57 62 65 70) Bbmaj7/A | Gb3 D4 F4 Bb4 (54 62 65 70) Gbmaj7#5
 | tenor D | G3 Eb4 F4 Bb4 (55 63 65 70) Eb(add9)/G | G3 C4 F4 Bb4 (55 60 65 70) C7sus4/G
 | alto F | G3 D4 Gb4 Bb4 (55 62 66 70) Gm(maj7) | G3 D4 Eb4 Bb4 (55 62 63 70) Ebmaj7/G
 | top Bb | G3 D4 F4 C5 (55 62 65 72) G7sus4 | G3 D4 F4 A4 (55 62 65 69) Dm(add11)/G
C3 Gb3 A3 Eb4 (48 54 57 63) | bass C | D3 Gb3 A3 Eb4 (50 54 57 63) Ebdim(maj7)/D | Bb2 Gb3 A3 Eb4 (46 54 57 63) Ebm(add#11)/Bb
 | tenor Gb | C3 G3 A3 Eb4 (48 55 57 63) Am7b5/C | C3 F3 A3 Eb4 (48 53 57 63) F7/C
 | alto A | C3 Gb3 Bb3 Eb4 (48 54 58 63) Cm7b5 | C3 Gb3 G3 Eb4 (48 54 55 63) Cm(add#11)
 | top Eb | C3 Gb3 A3 F4 (48 54 57 65) F#dim(maj7)/C | C3 Gb3 A3 D4 (48 54 57 62) D7/C
Eb3 A3 C4 Gb4 (51 57 60 66) | bass Eb | F3 A3 C4 Gb4 (53 57 60 66) F#dim(maj7)/F | D3 A3 C4 Gb4 (50 57 60 66) D7
 | tenor A | Eb3 Bb3 C4 Gb4 (51 58 60 66) Cm7b5/Eb | Eb3 G3 C4 Gb4 (51 55 60 66) Cm(add#11)/Eb
 | alto C | Eb3 A3 D4 Gb4 (51 57 62 66) Ebdim(maj7) | Eb3 A3 Bb3 Gb4 (51 57 58 66) Ebm(add#11)
 | top Gb | Eb3 A3 C4 G4 (51 57 60 67) Am7b5/Eb | Eb3 A3 C4 F4 (51 57 60 65) F7/Eb
Gb3 C4 Eb4 A4 (54 60 63 69) | bass Gb | G3 C4 Eb4 A4 (55 60 63 69) Am7b5/G | F3 C4 Eb4 A4 (53 60 63 69) F7
 | tenor C | Gb3 D4 Eb4 A4 (54 62 63 69) Ebdim(maj7)/Gb | Gb3 Bb3 Eb4 A4 (54 58 63 69) Ebm(add#11)/Gb
 | alto Eb | Gb3 C4 F4 A4 (54 60 65 69) F#dim(maj7) | Gb3 C4 D4 A4 (54 60 62 69) D7/Gb
 | top A | Gb3 C4 Eb4 Bb4 (54 60 63 70) Cm7b5/Gb | Gb3 C4 Eb4 G4 (54 60 63 67) Cm(add#11)/Gb
A3 Eb4 Gb4 C5 (57 63 66 72) | bass A | Bb3 Eb4 Gb4 C5 (58 63 66 72) Cm7b5/Bb | G3 Eb4 Gb4 C5 (55 63 66 72) Cm(add#11)/G
 | tenor Eb | A3 F4 Gb4 C5 (57 65 66 72) F#dim(maj7)/A | A3 D4 Gb4 C5 (57 62 66 72) D7/A
 | alto Gb | A3 Eb4 G4 C5 (57 63 67 72) Am7b5 | A3 Eb4 F4 C5 (57 63 65 72) F7/A
 | top C | A3 Eb4 Gb4 D5 (57 63 66 74) Ebdim(maj7)/A | A3 Eb4 Gb4 Bb4 (57 63 66 70) Ebm(add#11)/A
`
	borrowedOverG7 = `
Dm6 | none | D F A B | 5 b7 9 3 | G9
Dm6 | D to E (above) | E F A B | 13 b7 9 3 | G13
Dm6 | D to C# (below) | C# F A B | #11 b7 9 3 | G9#11
Dm6 | A to Bb (above) | D F Bb B | 5 b7 #9 3 | G7#9
Dm6 | A to G (below) | D F G B | 5 b7 1 3 | G7
Dm6 | F to E (below) | D E A B | 5 13 9 3 | G6/9 (no b7)
Abm6 | none | Ab B Eb F | b9 3 b13 b7 | G7b9b13 (alt)
Abm6 | Ab to Bb (above) | Bb B Eb F | #9 3 b13 b7 | G7#9b13 (alt)
Abm6 | Ab to G (below) | G B Eb F | 1 3 b13 b7 | G7#5
Abm6 | Eb to E (above) | Ab B E F | b9 3 13 b7 | G13b9
Abm6 | Eb to Db (below) | Ab B Db F | b9 3 #11 b7 | G7b9#11 = Db7
Ddim7 (odd steps of C6dim) | none | D F Ab B | 5 b7 b9 3 | G7b9
Ddim7 in C6dim | D to E (above) | E F Ab B | 13 b7 b9 3 | G13b9
Ddim7 in C6dim | Ab to G (below) | D F G B | 5 b7 1 3 | G7
`
	keptBorrowChain = `
Eb5 75 | Eb6 | Cm(maj7) | C4 G4 B4 Eb5 (60 67 71 75) | not possible | 10-12-12-11
D5 74 | dim | Bdim(maj7) | B3 F4 Bb4 D5 (59 65 70 74) | 14-15-15-15 | 9-10-11-10
C5 72 | Eb6 | Ab(add9) | Bb3 Eb4 Ab4 C5 (58 63 68 72) | 13-13-13-13 | 8-8-9-8
B4 71 | dim | Abdim(maj7) | Ab3 D4 G4 B4 (56 62 67 71) | 11-12-12-12 | 6-7-8-7
Bb4 70 | Eb6 | C7sus4 | G3 C4 F4 Bb4 (55 60 65 70) | 10-10-10-11 | 5-5-6-6
Ab4 68 | dim | Fm7b5 | F3 B3 Eb4 Ab4 (53 59 63 68) | 8-9-8-9 | 3-4-4-4
G4 67 | Eb6 | Ebmaj7 | Eb3 Bb3 D4 G4 (51 58 62 67) | 6-8-7-8 | 1-3-3-3
F4 65 | dim | Dm7b5 | D3 Ab3 C4 F4 (50 56 60 65) | 5-6-5-6 | 0-1-1-1
`
)

// rowsOf cuts a table into its rows and trimmed cells, and fails if it has not
// as many rows as it should.
func rowsOf(t *testing.T, table string, want int) [][]string {
	t.Helper()
	var rows [][]string
	for line := range strings.Lines(table) {
		if strings.TrimSpace(line) == "" {
			continue
		}
		var cells []string
		for cell := range strings.SplitSeq(line, "|") {
			cells = append(cells, strings.TrimSpace(cell))
		}
		rows = append(rows, cells)
	}
	if len(rows) != want {
		t.Fatalf("%d rows of %d", len(rows), want)
	}
	return rows
}

func scaleNamed(t testing.TB, s string) theory.Scale {
	t.Helper()
	sc, err := theory.ParseScale(s)
	if err != nil {
		t.Fatal(err)
	}
	return sc
}

// spelled are the notes of a structure as the scale spells them: "C3 E3 G3 A3".
func spelled(s voicing.Structure, scale theory.Scale, top int, borrowed ...voicing.Borrow) string {
	var names []string
	for _, st := range s.Steps(top, borrowed...) {
		names = append(names, scale.Pitch(st).String())
	}
	return strings.Join(names, " ")
}

// numbers are MIDI numbers as the tables write them: "48 52 55 57".
func numbers(pitches [4]int) string {
	return strings.Trim(fmt.Sprint(pitches), "[]")
}

// noted is both: "C3 E3 G3 A3 (48 52 55 57)".
func noted(s voicing.Structure, scale theory.Scale, top int, borrowed ...voicing.Borrow) string {
	return spelled(s, scale, top, borrowed...) + " (" + numbers(s.Pitches(scale, top, borrowed...)) + ")"
}

// under is the step of the soprano over a step in the bass.
func under(s voicing.Structure, bass int) int { return bass - s.Steps(0)[0] }

func pcsOfPitches(pitches [4]int) theory.PCSet { return theory.PCSet(0).With(pitches[:]...) }

// fretsOn writes frets as the tables do, absent being what stands for none.
func fretsOn(n voicing.Neck, set, pitches [4]int, absent string) string {
	frets, ok := n.OnStrings(set[:], pitches[:])
	if !ok {
		return absent
	}
	var texts []string
	for _, f := range frets {
		texts = append(texts, strconv.Itoa(f))
	}
	return strings.Join(texts, "-")
}

// lowNeck has the fifteen frets of the tables.
func lowNeck() voicing.Neck {
	n := voicing.StandardNeck()
	n.Frets = 15
	return n
}

// harmony.md 1.4: drop n lowers voice n of the close chord by an octave, which
// is eight steps; what the lowest note of each then holds.
func TestStructureIsDropped(t *testing.T) {
	lowest := map[voicing.Structure]int{voicing.Close: 4, voicing.Drop2: 2, voicing.Drop3: 3, voicing.Drop24: 4, voicing.Drop23: 3}
	for _, s := range voicing.Structures() {
		want := []int{0, -2, -4, -6}
		_, drops, _ := strings.Cut(s.String(), " ")
		for d := range strings.SplitSeq(drops, "&") {
			if n, err := strconv.Atoi(d); err == nil {
				want[n-1] -= 8
			}
		}
		own := slices.Clone(want)
		slices.Sort(want)
		if got := s.Steps(0); !slices.Equal(got[:], want) {
			t.Errorf("%v: steps %v, want %v", s, got, want)
		}
		for n := 1; n <= 4; n++ {
			if got := s.Steps(0)[s.Part(n)]; got != own[n-1] {
				t.Errorf("%v: voice %d is at %d, want %d", s, n, got, own[n-1])
			}
		}
		if s.Part(lowest[s]) != voicing.BassPart {
			t.Errorf("%v: voice %d is not the lowest", s, lowest[s])
		}
	}
}

// harmony.md 1.5: bass step, chord, then close, drop 2, drop 3, drop 2&4.
func TestInversionChains(t *testing.T) {
	for _, c := range []struct {
		scale, table string
	}{{"C6", chainsFromC3}, {"F6", chainsFromF2}} {
		scale := scaleNamed(t, c.scale)
		for i, row := range rowsOf(t, c.table, 8) {
			bass := i - 8 // an octave under the root of octave 4
			if c.scale == "F6" {
				bass = i - 16
			}
			chord := theory.MustChord(row[1])
			for j, s := range []voicing.Structure{voicing.Close, voicing.Drop2, voicing.Drop3, voicing.Drop24} {
				top := under(s, bass)
				if got := noted(s, scale, top); got != row[2+j] {
					t.Errorf("%s bass step %s, %v: %s, want %s", c.scale, row[0], s, got, row[2+j])
				}
				pitches := s.Pitches(scale, top)
				if pcsOfPitches(pitches) != chord.PCs() || pitches[0]%12 != chord.BassPC() {
					t.Errorf("%s bass step %s, %v: not %v", c.scale, row[0], s, chord)
				}
			}
		}
	}
	families := []string{"Cm6", "C7", "C7b5", "Fm6", "F7", "F7b5"}
	for i, row := range rowsOf(t, chainsOfFamilies, 8) {
		for j, name := range families {
			bass := i - 8
			if j >= 3 {
				bass -= 8
			}
			if got := noted(voicing.Drop2, scaleNamed(t, name), under(voicing.Drop2, bass)); got != row[1+j] {
				t.Errorf("%s bass step %s: %s, want %s", name, row[0], got, row[1+j])
			}
		}
	}
}

// harmony.md 1.6: top note, step, then for each structure its notes and the
// frets on two sets of strings.
func TestChainsOnTheNeck(t *testing.T) {
	columns := []struct {
		s    voicing.Structure
		sets [2][4]int
	}{
		{voicing.Drop2, [2][4]int{{4, 3, 2, 1}, {5, 4, 3, 2}}},
		{voicing.Drop3, [2][4]int{{5, 3, 2, 1}, {6, 4, 3, 2}}},
		{voicing.Drop24, [2][4]int{{5, 4, 2, 1}, {6, 5, 3, 2}}},
	}
	for _, c := range []struct{ scale, table string }{{"C6", chainsUnderC}, {"F6", chainsUnderF}} {
		scale := scaleNamed(t, c.scale)
		for _, row := range rowsOf(t, c.table, 8) {
			top, err := strconv.Atoi(row[1])
			if err != nil {
				t.Fatal(err)
			}
			if got := fmt.Sprintf("%v (%d)", scale.Pitch(top), scale.Pitch(top).MIDI()); got != row[0] {
				t.Errorf("%s step %d: %s, want %s", c.scale, top, got, row[0])
			}
			for i, col := range columns {
				cells := row[2+3*i:]
				if got := spelled(col.s, scale, top); got != cells[0] {
					t.Errorf("%s under %s, %v: %s, want %s", c.scale, row[0], col.s, got, cells[0])
				}
				for j, set := range col.sets {
					if got := fretsOn(lowNeck(), set, col.s.Pitches(scale, top), "-"); got != cells[1+j] {
						t.Errorf("%s under %s, %v on %v: %s, want %s", c.scale, row[0], col.s, set, got, cells[1+j])
					}
				}
			}
		}
	}
}

// harmony.md 9, numbers 21-25 and 27-32; number 26 is a property below, 44-47
// are rows of the walk.
func TestStructureCheckValues(t *testing.T) {
	for _, c := range []struct {
		n      int
		scale  string
		s      voicing.Structure
		top    int
		want   string
		chord  string
		set    [4]int
		frets  string
		source string
	}{
		{21, "C6", voicing.Drop2, under(voicing.Drop2, -8), "C3 G3 A3 E4 (48 55 57 64)", "C6", [4]int{}, "", "CALC"},
		{22, "C6", voicing.Drop2, under(voicing.Drop2, -7), "D3 Ab3 B3 F4 (50 56 59 65)", "Ddim7", [4]int{}, "", "CALC"},
		{23, "C6", voicing.Drop2, under(voicing.Drop2, -6), "E3 A3 C4 G4 (52 57 60 67)", "C6/E", [4]int{}, "", "CALC"},
		{24, "C6", voicing.Drop3, under(voicing.Drop3, -8), "C3 A3 E4 G4 (48 57 64 67)", "C6", [4]int{}, "", "CALC"},
		{25, "C6", voicing.Drop24, under(voicing.Drop24, -8), "C3 G3 E4 A4 (48 55 64 69)", "C6", [4]int{}, "", "CALC"},
		{27, "F6", voicing.Drop2, under(voicing.Drop2, -8), "F3 C4 D4 A4 (53 60 62 69)", "F6", [4]int{}, "", "CALC"},
		{28, "Cm6", voicing.Drop2, under(voicing.Drop2, -4), "G3 C4 Eb4 A4 (55 60 63 69)", "Cm6/G", [4]int{}, "", "CALC"},
		{29, "C6", voicing.Drop2, 6, "G3 C4 E4 A4 (55 60 64 69)", "C6/G", [4]int{4, 3, 2, 1}, "5-5-5-5", "CALC"},
		{30, "F6", voicing.Drop2, 2, "F3 C4 D4 A4 (53 60 62 69)", "F6", [4]int{4, 3, 2, 1}, "3-5-3-5", "CALC"},
		{31, "C6", voicing.Drop3, 4, "C3 A3 E4 G4 (48 57 64 67)", "C6", [4]int{5, 3, 2, 1}, "3-2-5-3", "CALC"},
		{32, "C6", voicing.Drop24, 6, "C3 G3 E4 A4 (48 55 64 69)", "C6", [4]int{5, 4, 2, 1}, "3-5-5-5", "CALC"},
	} {
		scale, chord := scaleNamed(t, c.scale), theory.MustChord(c.chord)
		pitches := c.s.Pitches(scale, c.top)
		if got := noted(c.s, scale, c.top); got != c.want {
			t.Errorf("%d. %v %v: %s, want %s [%s]", c.n, scale, c.s, got, c.want, c.source)
		}
		if pcsOfPitches(pitches) != chord.PCs() || pitches[0]%12 != chord.BassPC() {
			t.Errorf("%d. %v is not %v [%s]", c.n, pitches, chord, c.source)
		}
		if c.frets == "" {
			continue
		}
		if got := fretsOn(voicing.StandardNeck(), c.set, pitches, "-"); got != c.frets {
			t.Errorf("%d. on strings %v: %s, want %s [%s]", c.n, c.set, got, c.frets, c.source)
		}
	}
}

// harmony.md 4.1 and 9, number 70: spans of the string sets over six chords in
// four inversions, from the chord tones and without the scale.
func TestStringSets(t *testing.T) {
	chords := [][4]int{{0, 4, 7, 9}, {0, 3, 7, 9}, {0, 4, 7, 10}, {0, 4, 7, 11}, {0, 3, 6, 9}, {0, 4, 6, 10}}
	// spans are those of the 24 grips of a structure on a set.
	spans := func(s voicing.Structure, set [4]int) (spans []int) {
		n := voicing.StandardNeck()
		for _, chord := range chords {
			for inversion := range 4 {
				var tones []int // by voice, the melody first
				for voice := range 4 {
					i := inversion - voice + 4
					tones = append(tones, chord[i%4]+12*(i/4))
				}
				low, high := 1<<30, -1<<30
				for voice := range 4 {
					part := s.Part(voice + 1)
					drop := (s.Steps(0)[part] + 2*voice) / 8 * 12
					f := tones[voice] + drop - n.Open(set[part])
					low, high = min(low, f), max(high, f)
				}
				spans = append(spans, high-low)
			}
		}
		return spans
	}
	for _, c := range []struct {
		s       voicing.Structure
		set     [4]int
		mean    string
		widest  int
		reached int // within four frets
	}{
		{voicing.Drop2, [4]int{4, 3, 2, 1}, "1.58", 3, 24},
		{voicing.Drop2, [4]int{5, 4, 3, 2}, "2.33", 4, 24},
		{voicing.Drop2, [4]int{6, 5, 4, 3}, "2.08", 4, 24},
		{voicing.Drop3, [4]int{6, 4, 3, 2}, "1.58", 3, 24},
		{voicing.Drop3, [4]int{5, 3, 2, 1}, "2.33", 4, 24},
		{voicing.Drop24, [4]int{5, 4, 2, 1}, "2.08", 4, 24},
		{voicing.Drop24, [4]int{6, 5, 3, 2}, "2.33", 4, 24},
		{voicing.Drop24, [4]int{6, 4, 3, 1}, "4.33", 6, 15},
		{voicing.Drop24, [4]int{6, 5, 3, 1}, "4.04", 6, 18},
		{voicing.Drop24, [4]int{6, 4, 2, 1}, "4.29", 6, 15},
		{voicing.Close, [4]int{4, 3, 2, 1}, "5.00", 6, 6},
		{voicing.Close, [4]int{5, 4, 3, 2}, "5.00", 6, 6},
	} {
		sum, widest, reached := 0, 0, 0
		for _, span := range spans(c.s, c.set) {
			sum, widest = sum+span, max(widest, span)
			if span <= 4 {
				reached++
			}
		}
		if mean := fmt.Sprintf("%.2f", float64(sum)/24); mean != c.mean || widest != c.widest || reached != c.reached {
			t.Errorf("%v on %v: mean %s, widest %d, %d within four frets; want %s, %d, %d", c.s, c.set, mean, widest, reached, c.mean, c.widest, c.reached)
		}
	}
	// 70: the sets with all 24, of the fifteen there are, are those that we name. [CALC]
	for _, s := range voicing.Structures() {
		var all [][4]int
		for a := 6; a >= 4; a-- {
			for b := a - 1; b >= 3; b-- {
				for c := b - 1; c >= 2; c-- {
					for d := c - 1; d >= 1; d-- {
						if set := [4]int{a, b, c, d}; slices.Max(spans(s, set)) <= 4 {
							all = append(all, set)
						}
					}
				}
			}
		}
		named := s.StringSets()
		slices.Reverse(named)
		if s != voicing.Close && !slices.Equal(all, named) || s == voicing.Close && all != nil {
			t.Errorf("70. %v: every inversion lies well on %v, named are %v", s, all, named)
		}
	}
}

// harmony.md 2.2: chord, voice, borrowed note, direction, semitones, the notes,
// name and other name.
func TestBorrowedSets(t *testing.T) {
	scale := scaleNamed(t, "Bb6")
	for _, row := range rowsOf(t, borrowedSets, 16) {
		top := 0 // the step of the note that gives way
		for scale.Name(top).String() != row[1] {
			top++
		}
		if six := top%2 == 0; six != (row[0] == "Bb6") {
			t.Errorf("%s is a note of the other chord than %s", row[1], row[0])
		}
		b := voicing.Borrow{Voice: voicing.SopranoPart, Step: 1}
		if row[3] == "below" {
			b.Step = -1
		}
		name := theory.MustChord(row[6])
		for _, s := range voicing.Structures() {
			own, got := s.Pitches(scale, top), s.Pitches(scale, top, b)
			if d := got[3] - own[3]; fmt.Sprintf("%+d", d) != row[4] || scale.Name(top+b.Step).String() != row[2] {
				t.Errorf("%s for %s: %s, %+d semitones, want %s, %s", row[2], row[1], scale.Name(top+b.Step), d, row[2], row[4])
			}
			var want theory.PCSet
			for note := range strings.FieldsSeq(row[5]) {
				want = want.With(theory.MustChord(note).RootPC())
			}
			if set := pcsOfPitches(got); set != want || set != name.PCs() {
				t.Errorf("%s for %s in %v: %v, want %s = %v", row[2], row[1], s, set.Members(), row[5], name)
			}
			r, ok := voicing.ReadStructure(got[:], scale)
			if !ok || r.Structure != s || r.Top != top || r.Borrowed != b || !r.Complete() {
				t.Errorf("%v reads as %+v, %v; want %v under step %d with %v", got, r, ok, s, top, b)
			}
		}
	}
}

// harmony.md 2.3: the inversion (where it is a new one), voice and note, from
// above with its name, from below with its name.
func TestBorrowedInversions(t *testing.T) {
	scale, s := scaleNamed(t, "Bb6"), voicing.Drop2
	voices := map[string]voicing.VoicePart{"bass": voicing.BassPart, "tenor": voicing.TenorPart, "alto": voicing.AltoPart, "top": voicing.SopranoPart}
	for i, row := range rowsOf(t, borrowedInversions, 32) {
		// Bb2 is step -16; four inversions of the six, then four of the diminished.
		bass := -16 + i/4*2
		if i >= 16 {
			bass = -15 + (i-16)/4*2
		}
		top := under(s, bass)
		if row[0] != "" {
			if got := noted(s, scale, top); got != row[0] {
				t.Errorf("row %d: %s, want %s", i+1, got, row[0])
			}
		}
		word, note, _ := strings.Cut(row[1], " ")
		voice, known := voices[word]
		if got := scale.Name(s.Steps(top)[voice]).String(); !known || got != note {
			t.Errorf("row %d: the %s is %s, want %s", i+1, word, got, note)
		}
		for j, step := range []int{1, -1} {
			b := voicing.Borrow{Voice: voice, Step: step}
			notes, name, _ := strings.Cut(row[2+j], ") ")
			if got := noted(s, scale, top, b); got != notes+")" {
				t.Errorf("row %d, %v: %s, want %s)", i+1, b, got, notes)
			}
			pitches, chord := s.Pitches(scale, top, b), theory.MustChord(name)
			if pcsOfPitches(pitches) != chord.PCs() || pitches[0]%12 != chord.BassPC() {
				t.Errorf("row %d, %v: %v is not %s", i+1, b, pitches, name)
			}
			if got, home, ok := voicing.StructureOf(pitches[:], scale); !ok || got != s || home != top {
				t.Errorf("row %d, %v: read as %v under step %d, %v", i+1, b, got, home, ok)
			}
		}
	}
}

// harmony.md 2.4: chord, move, notes, degrees against G, name; the notes stand
// in the order of the root position, a close chord.
func TestBorrowedOverDominant(t *testing.T) {
	for _, row := range rowsOf(t, borrowedOverG7, 14) {
		name, bass := strings.Fields(row[0])[0], 0
		if name == "Ddim7" { // the odd steps of C maj6dim
			name, bass = "C6", 1
		}
		scale, s := scaleNamed(t, name), voicing.Close
		top := under(s, bass)
		var borrowed []voicing.Borrow
		if from, rest, moved := strings.Cut(row[1], " to "); moved {
			b := voicing.Borrow{Step: 1}
			for scale.Name(s.Steps(top)[b.Voice]).String() != from {
				b.Voice++
			}
			to, way, _ := strings.Cut(rest, " ")
			if way == "(below)" {
				b.Step = -1
			}
			if got := scale.Name(s.Steps(top)[b.Voice] + b.Step).String(); got != to {
				t.Errorf("%s, %s: %s", row[0], row[1], got)
			}
			borrowed = append(borrowed, b)
		}
		var notes, degrees []string
		for _, st := range s.Steps(top, borrowed...) {
			n := scale.Name(st)
			notes = append(notes, n.String())
			degrees = append(degrees, theory.Degree((n.PC()-7+12)%12).String())
		}
		if got := strings.Join(notes, " "); got != row[2] {
			t.Errorf("%s, %s: %s, want %s", row[0], row[1], got, row[2])
		}
		if got := strings.Join(degrees, " "); got != row[3] {
			t.Errorf("%s, %s: %s over G, want %s", row[0], row[1], got, row[3])
		}
		chord := theory.MustChord(strings.Fields(row[4])[0])
		if set := pcsOfPitches(s.Pitches(scale, top, borrowed...)); set&^chord.PCs() != 0 {
			t.Errorf("%s, %s: %v is not in %v", row[0], row[1], set.Members(), chord)
		}
	}
}

// harmony.md 2.5: melody, plain chord, name with the kept borrow, notes, frets
// on 5-4-3-2 and 4-3-2-1. Rows 1, 2, 6 and 7 are numbers 44-47 of section 9.
func TestWalkWithKeptBorrow(t *testing.T) {
	scale, s := scaleNamed(t, "Eb6"), voicing.Drop2
	kept := voicing.Borrow{Voice: s.Part(3), Step: 1}
	walk := voicing.Walk(scale, s, 8, 1, kept)
	rows := rowsOf(t, keptBorrowChain, 8)
	if len(walk) != len(rows) {
		t.Fatalf("the walk has %d chords, want %d", len(walk), len(rows))
	}
	none := theory.Chord{NoChord: true}
	for i, row := range rows {
		top, pitches := 8-i, walk[i]
		if got := fmt.Sprintf("%v %d", scale.Pitch(top), pitches[3]); got != row[0] {
			t.Errorf("row %d: melody %s, want %s", i+1, got, row[0])
		}
		plain := pcsOfPitches(s.Pitches(scale, top))
		if six := row[1] == "Eb6"; six && plain != scale.Six() || !six && plain != scale.Dim() {
			t.Errorf("row %d: plain chord %v, want %s", i+1, plain.Members(), row[1])
		}
		if got := spelled(s, scale, top, kept) + " (" + numbers(pitches) + ")"; got != row[3] {
			t.Errorf("row %d: %s, want %s", i+1, got, row[3])
		}
		name, _, _ := strings.Cut(theory.GripName(pcsOfPitches(pitches), pitches[0], none), "/")
		if name != row[2] {
			t.Errorf("row %d: %s, want %s", i+1, name, row[2])
		}
		for j, set := range [][4]int{{5, 4, 3, 2}, {4, 3, 2, 1}} {
			if got := fretsOn(lowNeck(), set, pitches, "not possible"); got != row[4+j] {
				t.Errorf("row %d on %v: %s, want %s", i+1, set, got, row[4+j])
			}
		}
		r, ok := voicing.ReadStructure(pitches[:], scale)
		if !ok || r.Structure != s || r.Top != top || r.Borrowed != kept {
			t.Errorf("row %d reads as %+v, %v", i+1, r, ok)
		}
	}
	// The same chain in the other structures, by its steps. [CALC]
	for s, want := range map[voicing.Structure][4]int{
		voicing.Close: {-6, -3, -2, 0}, voicing.Drop2: {-10, -6, -3, 0}, voicing.Drop3: {-11, -6, -2, 0}, voicing.Drop24: {-14, -10, -3, 0},
	} {
		b := voicing.Borrow{Voice: s.Part(3), Step: 1}
		if got := s.Steps(0, b); got != want {
			t.Errorf("the kept borrow in %v: %v, want %v", s, got, want)
		}
		for i, pitches := range voicing.Walk(scale, s, 8, 1, b) {
			if pcsOfPitches(pitches) != pcsOfPitches(walk[i]) {
				t.Errorf("chord %d in %v has other notes", i+1, s)
			}
		}
	}
}

// minorNinth reports two voices thirteen semitones apart.
func minorNinth(pitches [4]int) bool {
	for i, p := range pitches {
		if slices.Contains(pitches[i+1:], p+13) {
			return true
		}
	}
	return false
}

// harmony.md 3.4, rule 9: eight positions of the scale, four voices, two
// directions; and the eight of the kept borrow. [CALC]
func TestMinorNinths(t *testing.T) {
	scale := scaleNamed(t, "Eb6")
	for _, c := range []struct {
		s            voicing.Structure
		single, kept int
	}{
		{voicing.Drop2, 8, 0}, {voicing.Drop3, 8, 4}, {voicing.Drop24, 16, 0},
	} {
		positions, single, kept := 0, 0, 0
		for top := range 8 {
			for _, b := range c.s.Borrowings(1) {
				positions++
				if minorNinth(c.s.Pitches(scale, top, b...)) {
					single++
				}
			}
		}
		for _, pitches := range voicing.Walk(scale, c.s, 8, 1, voicing.Borrow{Voice: c.s.Part(3), Step: 1}) {
			if minorNinth(pitches) {
				kept++
			}
		}
		if positions != 64 || single != c.single || kept != c.kept {
			t.Errorf("%v: %d of %d borrows have a minor ninth and %d of the kept ones, want %d of 64 and %d", c.s, single, positions, kept, c.single, c.kept)
		}
	}
}

// Between two inversions of the six lies the diminished in passing, on the
// scale's own steps, and it is that of the dominant of the scale's root.
func TestPassingDiminished(t *testing.T) {
	scale := scaleNamed(t, "C6")
	var tops []string
	for _, pitches := range voicing.Walk(scale, voicing.Drop2, 2, 8) {
		name := "C6"
		if pcsOfPitches(pitches) == theory.MustChord("G7b9").PCs()&^theory.PCSet(0).With(7) {
			name = "dim"
		} else if pcsOfPitches(pitches) != theory.MustChord("C6").PCs() {
			t.Errorf("%v is neither C6 nor the rest of G7b9", pitches)
		}
		tops = append(tops, name+" "+strconv.Itoa(pitches[3]))
	}
	if got, want := strings.Join(tops, ", "), "C6 64, dim 65, C6 67, dim 68, C6 69, dim 71, C6 72"; got != want {
		t.Errorf("E4 to C5: %s, want %s", got, want)
	}
	if down := voicing.Walk(scale, voicing.Drop2, 8, 2); !slices.Equal(down, reversed(voicing.Walk(scale, voicing.Drop2, 2, 8))) {
		t.Errorf("the way down is another: %v", down)
	}
}

func reversed(chords [][4]int) [][4]int {
	slices.Reverse(chords)
	return chords
}

func TestReadStructure(t *testing.T) {
	for _, c := range []struct {
		scale   string
		pitches []int
		want    string // structure, step of the soprano, what is borrowed or missing
		why     string
	}{
		{"C6", []int{48, 55, 57, 64}, "drop 2 under 2", "harmony.md 9, 21"},
		{"C6", []int{64, 48, 57, 55}, "drop 2 under 2", "in any order"},
		{"C6", []int{48, 55, 57, 64, 64}, "drop 2 under 2", "the same pitch on two strings"},
		{"C6", []int{48, 52, 55, 57}, "close under -2", "harmony.md 1.5"},
		{"C6", []int{48, 57, 64, 67}, "drop 3 under 4", "harmony.md 9, 24"},
		{"C6", []int{48, 55, 64, 69}, "drop 2&4 under 6", "harmony.md 9, 25"},
		{"C6", []int{48, 52, 57, 67}, "drop 2&3 under 4", "by the same rule"},
		{"Eb6", []int{60, 67, 71, 75}, "drop 2 under 8, alto +1", "harmony.md 9, 44"},
		{"Bb6", []int{46, 53, 55, 60}, "drop 2 under -6, soprano -1", "harmony.md 2.3: C7sus4/Bb"},
		{"C6", []int{57, 60, 64}, "close under 2, no bass", "three neighbours"},
		{"C6", []int{55, 57, 64}, "drop 2 under 2, no bass", "the upper three"},
		{"C6", []int{57, 64, 67}, "drop 3 under 4, no bass", "the upper three"},
		{"C6", []int{48, 55, 64}, "drop 2 under 2, no alto", "more than an octave"},
		{"C6", []int{48, 57, 64}, "drop 2 under 2, no tenor", "more than an octave"},
		{"C6", []int{48, 64, 67}, "drop 3 under 4, no tenor", "root and two"},
		{"C6", []int{48, 57, 67}, "drop 3 under 4, no alto", "root and two"},
		{"C6", []int{48, 64, 69}, "drop 2&4 under 6, no tenor", "root and two"},
		{"C6", []int{48, 55, 69}, "drop 2&4 under 6, no alto", "root and two"},
		{"C6", []int{48, 52, 67}, "drop 2&3 under 4, no alto", "root and two"},
		{"C6", []int{48, 55, 58, 64}, "", "Bb is not in the scale"},
		{"C6", []int{48, 55, 60, 64}, "", "C twice"},
		{"C6", []int{48, 50, 52, 53}, "", "two of either chord"},
		{"C6", []int{48, 55, 57, 76}, "", "the soprano an octave too high"},
		{"C6", []int{55, 57, 65}, "", "three of both chords"},
		{"C6", []int{55, 64}, "", "two notes"},
		{"C6", []int{43, 48, 55, 57, 64}, "", "five notes"},
		{"C6", nil, "", "silence"},
	} {
		before := slices.Clone(c.pitches)
		r, ok := voicing.ReadStructure(c.pitches, scaleNamed(t, c.scale))
		got := ""
		if ok {
			got = fmt.Sprintf("%v under %d", r.Structure, r.Top)
			if r.Borrowed.Step != 0 {
				got += ", " + r.Borrowed.String()
			}
			if !r.Complete() {
				got += ", no " + r.LeftOut.String()
			}
		}
		if got != c.want {
			t.Errorf("%v in %s: %q, want %q (%s)", c.pitches, c.scale, got, c.want, c.why)
		}
		if !slices.Equal(before, c.pitches) {
			t.Errorf("%v became %v", before, c.pitches)
		}
	}
}

// Two voices borrowed: each a step off its own, all four notes different, and
// no other choice of two is left.
func TestBorrowings(t *testing.T) {
	scale := scaleNamed(t, "C6")
	for _, s := range voicing.Structures() {
		for voices, want := range []int{1, 8, 20} {
			all := s.Borrowings(voices)
			if len(all) != want {
				t.Errorf("%v: %d ways to borrow in %d voices, want %d", s, len(all), voices, want)
			}
			for _, way := range all {
				own, got := s.Steps(5), s.Steps(5, way...)
				moved := 0
				for i := range own {
					if d := got[i] - own[i]; d == 1 || d == -1 {
						moved++
					} else if d != 0 {
						t.Errorf("%v with %v: %v from %v", s, way, got, own)
					}
				}
				pitches := s.Pitches(scale, 5, way...)
				if moved != voices || pcsOfPitches(pitches).Len() != 4 || !slices.IsSorted(pitches[:]) {
					t.Errorf("%v with %v: %d voices moved, pitches %v", s, way, moved, pitches)
				}
			}
		}
	}
}

func TestOnStrings(t *testing.T) {
	n := voicing.StandardNeck()
	for _, c := range []struct {
		strings, pitches []int
		want             []int // nil: not possible
	}{
		{[]int{6, 4, 3}, []int{43, 53, 59}, []int{3, 3, 4}},
		{[]int{1}, []int{83}, []int{19}},
		{[]int{1}, []int{84}, nil},
		{[]int{1}, []int{63}, nil},
		{[]int{7}, []int{40}, nil},
		{[]int{0}, []int{64}, nil},
		{[]int{1, 2}, []int{64}, nil},
	} {
		got, ok := n.OnStrings(c.strings, c.pitches)
		if ok != (c.want != nil) || !slices.Equal(got, c.want) {
			t.Errorf("%v on %v: %v, %v, want %v", c.pitches, c.strings, got, ok, c.want)
		}
	}
}

// drawn is any structure in any scale, anywhere on the neck.
type drawn struct {
	scale theory.Scale
	s     voicing.Structure
	top   int
}

func draw(t *rapid.T) drawn {
	return drawn{
		scale: theory.NewScale(rapid.IntRange(0, 11).Draw(t, "root"), theory.Family(rapid.IntRange(0, 3).Draw(t, "family"))),
		s:     rapid.SampledFrom(voicing.Structures()).Draw(t, "structure"),
		top:   rapid.IntRange(-16, 24).Draw(t, "top"),
	}
}

func TestStructureProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		pitches := d.s.Pitches(d.scale, d.top)
		// All four notes are there, in order, the highest the melody.
		want := d.scale.Six()
		if d.top&1 == 1 {
			want = d.scale.Dim()
		}
		if pcsOfPitches(pitches) != want || want.Len() != 4 {
			t.Fatalf("%v: %v is not the chord %v", d, pitches, want.Members())
		}
		if !slices.IsSorted(pitches[:]) || pitches[3] != d.scale.Pitch(d.top).MIDI() {
			t.Fatalf("%v: %v", d, pitches)
		}
		// harmony.md 9, 26: eight steps are an octave; one step is the other chord.
		up, octave := d.s.Pitches(d.scale, d.top+1), d.s.Pitches(d.scale, d.top+8)
		for i := range pitches {
			if octave[i] != pitches[i]+12 {
				t.Fatalf("%v: eight steps lead from %v to %v", d, pitches, octave)
			}
		}
		if pcsOfPitches(up)&want != 0 {
			t.Fatalf("%v: %v and %v share a note", d, pitches, up)
		}
	})
}

func TestWalkProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		to := d.top + rapid.IntRange(-16, 16).Draw(t, "steps")
		ways := append(d.s.Borrowings(0), append(d.s.Borrowings(1), d.s.Borrowings(2)...)...)
		kept := rapid.SampledFrom(ways).Draw(t, "kept")
		walk := voicing.Walk(d.scale, d.s, d.top, to, kept...)
		if len(walk) != max(to-d.top, d.top-to)+1 {
			t.Fatalf("from %d to %d: %d chords", d.top, to, len(walk))
		}
		dir := 1
		if to < d.top {
			dir = -1
		}
		for i, pitches := range walk {
			if pcsOfPitches(pitches).Len() != 4 {
				t.Fatalf("chord %d of %v with %v doubles a note: %v", i, d, kept, pitches)
			}
			if i == 0 {
				continue
			}
			for v := range pitches {
				// One step of these scales is a semitone or a whole tone.
				if move := dir * (pitches[v] - walk[i-1][v]); move != 1 && move != 2 {
					t.Fatalf("chord %d of %v with %v: voice %d moves %d", i, d, kept, v, move)
				}
			}
		}
	})
}

// What a structure gives is read back as that structure, whole, with one voice
// borrowed, or with its bass left out.
func TestReadingIsInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		borrowed := rapid.SampledFrom(append(d.s.Borrowings(0), d.s.Borrowings(1)...)).Draw(t, "borrowed")
		want := voicing.Reading{Structure: d.s, Top: d.top, LeftOut: voicing.SopranoPart}
		if len(borrowed) > 0 {
			want.Borrowed = borrowed[0]
		}
		pitches := d.s.Pitches(d.scale, d.top, borrowed...)
		shuffled := rapid.Permutation(pitches[:]).Draw(t, "order")
		if got, ok := voicing.ReadStructure(shuffled, d.scale); !ok || got != want {
			t.Fatalf("%v in %v: %+v, %v, want %+v", pitches, d.scale, got, ok, want)
		}
		// Of three the structure may be another name for the same notes; the
		// reading must give just these back.
		own := d.s.Pitches(d.scale, d.top)
		out := rapid.IntRange(0, 2).Draw(t, "left out")
		three := slices.Delete(slices.Clone(own[:]), out, out+1)
		got, ok := voicing.ReadStructure(three, d.scale)
		if !ok || got.Top != d.top || got.Complete() || got.Borrowed.Step != 0 {
			t.Fatalf("%v in %v: %+v, %v", three, d.scale, got, ok)
		}
		again := got.Structure.Pitches(d.scale, got.Top)
		if i := int(got.LeftOut); !slices.Equal(slices.Delete(slices.Clone(again[:]), i, i+1), three) {
			t.Fatalf("%v in %v is read as %+v, which is %v", three, d.scale, got, again)
		}
	})
}

// Any notes at all: no panic, and what is recognised is there.
func TestReadAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		pitches := rapid.SliceOfN(rapid.IntRange(-5, 130), 0, 6).Draw(t, "pitches")
		r, ok := voicing.ReadStructure(pitches, d.scale)
		if !ok {
			if r != (voicing.Reading{}) {
				t.Fatalf("refused, but %+v", r)
			}
			return
		}
		sounding := r.Structure.Pitches(d.scale, r.Top, r.Borrowed)
		for _, p := range pitches {
			if !slices.Contains(sounding[:], p) {
				t.Fatalf("%v is read as %+v without %d", pitches, r, p)
			}
		}
	})
}
