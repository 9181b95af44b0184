# stripgap: every target sets up what it needs on Debian 12. `make` lists them.
.DEFAULT_GOAL := help
SHELL := /bin/bash

# Debian packages: OpenCV 4.6 for gocv v0.31.0, libjpeg-turbo, a C++ compiler
# and a linker that drops unused code. The last line is for tests only: rasterise
# PDF, decode QR, OpenCV's chessboard photos, and encode HEIC.
PACKAGES := ca-certificates gcc g++ pkg-config lld libopencv-dev libjpeg62-turbo-dev \
            poppler-utils zbar-tools opencv-doc libheif-examples
SUDO := $(shell [ "$$(id -u)" = 0 ] || echo sudo)

# gocv asks for every OpenCV module. Dropping the unused ones at link time keeps
# some 240 shared libraries, and a tenth of a second, out of every start.
LDFLAGS := -ldflags='-extldflags "-fuse-ld=lld -Wl,--gc-sections -Wl,--as-needed"'

# Packages whose code runs in several goroutines, for the race detector. The
# libraries run in their caller's only, and calib alone would take minutes.
RACE := ./cmd/...

.PHONY: help setup build demo samples test check accuracy accuracy-flat accuracy-taper bench fuzz clean

help: ## list the targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / {printf "  make %-13s %s\n", $$1, $$2}' $(MAKEFILE_LIST)

setup: ## install what is missing: Debian packages and Go modules
	@command -v go >/dev/null || { echo "make: Go is not installed; install Go 1.26 or newer (Debian 12's own golang package is too old), put its bin folder on PATH, and run make again" >&2; exit 1; }
	@command -v dpkg-query >/dev/null || { echo "make: this is not Debian; install the equivalents of: $(PACKAGES)" >&2; exit 1; }
	@missing=; for p in $(PACKAGES); do \
	  dpkg-query -W -f='$${db:Status-Status}' $$p 2>/dev/null | grep -qx installed || missing="$$missing $$p"; \
	done; \
	if [ -n "$$missing" ]; then echo "installing:$$missing" >&2; \
	  $(SUDO) apt-get -q update >&2 && \
	  $(SUDO) env DEBIAN_FRONTEND=noninteractive apt-get -q install -y --no-install-recommends $$missing >&2; \
	fi
	@go mod download

build: setup ## build the program ./stripgap
	go build $(LDFLAGS) -o stripgap ./cmd/stripgap

# The invented limits of samples/README.md. One photo is out of focus on purpose:
# its refusal makes the exit code 1, which is as it should be.
MAINS   := --limits-new 0.030..0.056mm --limits-service ..0.060mm
BIGENDS := --limits-new 0.030..0.052mm --limits-service ..0.066mm
READ    := ./stripgap read --lot samples/build/lot.toml --pictures out/demo

demo: build ## read the photos in samples/ and write pictures to out/demo
	$(READ) samples/build/photos/main*.jpg --shell-radius 27.5 $(MAINS) || test $$? -eq 1
	$(READ) samples/build/photos/bigend*.jpg --journal-radius 24 $(BIGENDS)
	$(READ) samples/cap1-left.jpg samples/cap1-right.jpg --pair $(MAINS)
	$(READ) samples/gauge050.jpg --flat
	@echo "The pictures are in out/demo; what each photo shows is told in samples/README.md."

samples: build ## render samples/ again from samples/scenes; the bytes stay the same
	@for scene in samples/scenes/*.json; do name=$$(basename $$scene .json); \
	  photo=$$(find samples -name $$name.jpg); \
	  ./stripgap render --scene $$scene --out out/samples/$$name --force && \
	  cp out/samples/$$name/photo-000.jpg $${photo:-samples/$$name.jpg} || exit 1; \
	done
	go test $(LDFLAGS) ./cmd/internal/pipeline -run '^TestSamples$$' -truths $(CURDIR)/out/samples

test: setup ## run every test (minutes on two cores)
	go test $(LDFLAGS) ./...

check: setup ## formatting, vet, staticcheck, race detector, native leaks
	@unformatted=$$(gofmt -l .); [ -z "$$unformatted" ] || { echo "make: gofmt these:" $$unformatted >&2; exit 1; }
	go vet ./...
	go tool staticcheck ./...
	go test $(LDFLAGS) -race -short $(RACE)
	go test $(LDFLAGS) -tags matprofile -run MatLeak ./cmd/internal/pipeline

accuracy: setup ## render 1220 seeded photos, read them, print bias, spread and coverage
	go run $(LDFLAGS) ./cmd/accuracy --out out/accuracy
	@mkdir -p testdata/accuracy && cp out/accuracy/summary.md out/accuracy/summary.csv testdata/accuracy/

accuracy-flat: setup ## the same for 200 plain photos of flat surfaces only
	go run $(LDFLAGS) ./cmd/accuracy --strata flat --out out/accuracy-flat

accuracy-taper: setup ## 300 even and 300 tapered strips, flat, and 100 moderate: tapers found and imagined
	go run $(LDFLAGS) ./cmd/accuracy --taper --told surface --strata flat --count 300 --out out/accuracy-taper
	go run $(LDFLAGS) ./cmd/accuracy --taper --told surface --strata moderate --count 100 --out out/accuracy-taper-moderate
	@mkdir -p testdata/accuracy && cp out/accuracy-taper/taper.md testdata/accuracy/ && \
	  cp out/accuracy-taper-moderate/taper.md testdata/accuracy/taper-moderate.md

bench: build ## run the benchmarks; x-grey is time over that of a grey decode
	STRIPGAP=$(CURDIR)/stripgap go test $(LDFLAGS) -run '^$$' -bench . -benchmem ./...

FUZZTIME := 30s
fuzz: setup ## fuzz every target for FUZZTIME (30s) each
	@grep -rnoE --include='*_test.go' '^func Fuzz[A-Za-z0-9_]+' . | \
	while IFS=: read -r file _ target; do \
	  go test $(LDFLAGS) -run '^$$' -fuzz "^$${target#func }\$$" -fuzztime $(FUZZTIME) "$$(dirname "$$file")" || exit 1; \
	done

clean: ## remove what was built and written
	rm -rf stripgap accuracy out
