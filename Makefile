GO ?= go
# One static program on every system: no C anywhere in the ordinary build.
export CGO_ENABLED ?= 0

# A checkout that git will not speak about still builds.
VCS := $(shell git rev-parse HEAD >/dev/null 2>&1 && echo auto || echo false)
BUILD = $(GO) build -trimpath -buildvcs=$(VCS)

SYSTEMS = linux-amd64 linux-arm64 darwin-amd64 darwin-arm64 windows-amd64 windows-arm64
CROSS = $(SYSTEMS:%=cross-%)
RAPID_CHECKS ?= 1000
FUZZ_TIME ?= 1m
READERS_FUZZ_TIME ?= 10m

.DEFAULT_GOAL := build
.PHONY: build demo test test-alsa test-rtmidi vet bench cross $(CROSS) crosscheck crosscheck-long crosscheck-ports rapid fuzz fuzz-readers report clean help

build: ## the program, ./thumbline
	$(BUILD) -o thumbline ./cmd/thumbline

# Status 1 of the last line is a machine without sound, and hear has said so:
# whatever else could fail has been done by write before.
demo: build ## the built-in tune as demo.mid .wav .txt .json, and played when there is sound
	./thumbline write --out demo.mid --out demo.wav --out demo.txt --out demo.json
	@ls -l demo.mid demo.wav demo.txt demo.json
	./thumbline hear || test $$? -eq 1

test: ## every Go test
	$(GO) test ./...

test-alsa: ## the tests of sound devices, through ALSA with cgo (libasound2-dev pkg-config gcc)
	CGO_ENABLED=1 $(GO) vet -tags alsa ./synth ./cmd/thumbline
	CGO_ENABLED=1 $(GO) test -tags alsa -run 'Device|Oto|Play|Watchdog' ./synth

test-rtmidi: ## the MIDI ports of macOS, built on Linux through ALSA with cgo (libasound2-dev g++)
	CGO_ENABLED=1 $(GO) vet -tags rtmidi ./midiio/rtport
	CGO_ENABLED=1 $(GO) test -tags rtmidi ./midiio/rtport

vet: ## what the tools find without running anything
	@bad=$$(gofmt -l cmd midiio synth theory voicing) && test -z "$$bad" || { echo "not formatted by gofmt: $$bad"; exit 1; }
	$(GO) vet ./...
	$(GO) tool staticcheck ./...

bench: build ## how fast a tune is read and arranged and its sound rendered
	.ci/bench

cross: $(CROSS) ## the program for three systems, in build/

$(CROSS): cross-%:
	GOOS=$(word 1,$(subst -, ,$*)) GOARCH=$(word 2,$(subst -, ,$*)) CGO_ENABLED=0 \
		$(BUILD) -o build/thumbline-$*$(if $(findstring windows,$*),.exe) ./cmd/thumbline

crosscheck: build ## our files read by programs that are not ours
	.ci/crosscheck/run

crosscheck-long: build rapid ## the same over everything there is, and what takes minutes
	.ci/crosscheck/run --long
	EVERY_PITCH=1 $(GO) test -count 1 -run 'TestPitch$$' ./synth
	LOOPS_EVERY=1 $(GO) test -count 1 -run TestLoopsOfSharedSheets ./cmd/thumbline
	$(MAKE) fuzz

crosscheck-ports: build ## MIDI ports alone, in a small kernel with a real sequencer (needs THUMBLINE_DATA)
	.ci/crosscheck/run --ports

rapid: ## every property with many more tries (RAPID_CHECKS=1000)
	.ci/rapid $(RAPID_CHECKS)

fuzz: fuzz-readers ## every fuzz target in turn (FUZZ_TIME=1m, READERS_FUZZ_TIME=10m)
	.ci/fuzz $(FUZZ_TIME) $$($(GO) list ./... | grep -v /theory/leadsheet)

fuzz-readers: ## the targets of the lead-sheet readers (READERS_FUZZ_TIME=10m)
	.ci/fuzz $(READERS_FUZZ_TIME) ./theory/leadsheet

report: build ## figures of the arrangements at each density, of form and setting (needs THUMBLINE_DATA)
	.ci/crosscheck/judged.py --report
	.ci/crosscheck/setting.py --report

clean: ## takes away what build, demo and cross made
	rm -rf thumbline demo.mid demo.wav demo.txt demo.json build

help: ## this
	@sed -n 's/^\([a-z-]*\):.*## /\1\t/p' $(MAKEFILE_LIST) | expand -t 18
