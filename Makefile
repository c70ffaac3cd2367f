GO ?= go
# One static program on every system: no C anywhere in the ordinary build.
export CGO_ENABLED ?= 0

.DEFAULT_GOAL := build
.PHONY: build demo test bench vet crosscheck crosscheck-long report clean

build: ## the program, ./thumbline
	$(GO) build -trimpath -o thumbline ./cmd/thumbline

demo: build ## the built-in tune as demo.mid, demo.wav, demo.txt, and played when there is sound
	./thumbline write --out demo.mid --out demo.wav --out demo.txt
	@echo "Wrote demo.mid demo.wav demo.txt"
	@./thumbline hear || echo "Nothing could be played here: listen to demo.wav instead."

test: ## every test there is
	$(GO) test ./...

bench: ## how fast a tune is arranged and its sound rendered
	$(GO) test -run '^$$' -bench . -benchmem ./...

vet: ## what the tools find without running anything
	@test -z "$$(gofmt -l cmd midiio synth theory voicing)" || { gofmt -l cmd midiio synth theory voicing; exit 1; }
	$(GO) vet ./...
	$(GO) tool staticcheck ./...

crosscheck: build ## our files read by programs that are not ours
	.ci/crosscheck

crosscheck-long: build ## the same over everything there is
	.ci/crosscheck --long

report: build ## figures of the arrangements, by the judge of the shared data
	.ci/report

clean:
	rm -f thumbline demo.mid demo.wav demo.txt
