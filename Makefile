# stripgap: every target sets up what it needs on Debian 12. `make` lists them.
.DEFAULT_GOAL := help
SHELL := /bin/bash

# Debian packages: OpenCV 4.6 for gocv v0.31.0, libjpeg-turbo, a C++ compiler
# and a linker that drops unused code. The last line is for tests only: rasterise
# PDF, decode QR, OpenCV's chessboard photos, encode HEIC, and lay out and print
# pages.
PACKAGES := ca-certificates gcc g++ pkg-config lld libopencv-dev libjpeg62-turbo-dev \
            poppler-utils zbar-tools opencv-doc libheif-examples chromium
SUDO := $(shell [ "$$(id -u)" = 0 ] || echo sudo)

# gocv asks for every OpenCV module. Dropping the unused ones at link time keeps
# some 240 shared libraries, and a tenth of a second, out of every start.
LDFLAGS := -ldflags='-extldflags "-fuse-ld=lld -Wl,--gc-sections -Wl,--as-needed"'

# With a section for each function the linker drops the functions of gocv that are not
# called, and with them three more libraries.
export CGO_CFLAGS := -O2 -g -ffunction-sections
export CGO_CXXFLAGS := $(CGO_CFLAGS)

# Packages whose code runs in several goroutines, for the race detector. The
# libraries run in their caller's only, and calib alone would take minutes.
RACE := ./cmd/...

.PHONY: help setup build demo samples test check accuracy accuracy-flat accuracy-taper accuracy-strand bench load fuzz clean

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

# One photo of the demo build is out of focus on purpose, and some bearings are
# outside their limits: exit code 1 is as it should be. The demo keeps its own
# user folder, so that it neither reads nor writes the person's.
DEMO  := out/demo
INDEMO = XDG_CONFIG_HOME=$(CURDIR)/$(DEMO)/config ./stripgap

demo: build ## read the whole build in samples/ and write its record to out/demo
	@rm -rf $(DEMO) && mkdir -p $(DEMO) && cp samples/build/lot.toml $(DEMO)/
	$(INDEMO) build new $(DEMO) --from samples/build/build.toml
	@cp samples/build/photos/* $(DEMO)/photos/
	$(INDEMO) build tags $(DEMO) --sheet KETDWY
	$(INDEMO) card check --serial KETDWY --across "150.15 mm" --down "200.40 mm"
	$(INDEMO) build read $(DEMO) || test $$? -eq 1
	$(INDEMO) build status $(DEMO)
	$(INDEMO) build report $(DEMO) --by "the demo, invented"
	$(INDEMO) read samples/cap1-left.jpg samples/cap1-right.jpg --pair --lot samples/build/lot.toml --pictures $(DEMO)/more
	$(INDEMO) read samples/gauge050.jpg --flat --lot samples/build/lot.toml --pictures $(DEMO)/more
	@echo "Open $(DEMO)/record.html in a browser; what each photo shows is told in samples/README.md."

samples: build ## render samples/ again from samples/scenes; the bytes stay the same
	@for scene in samples/scenes/*.json; do name=$$(basename $$scene .json); \
	  photo=$$(find samples -name $$name.jpg); \
	  ./stripgap render --scene $$scene --out out/samples/$$name --force && \
	  cp out/samples/$$name/photo-000.jpg $${photo:-samples/$$name.jpg} || exit 1; \
	done
	go test $(LDFLAGS) ./cmd/internal/pipeline -run '^TestSamples$$' -truths $(CURDIR)/out/samples

test: setup ## run every test (minutes on two cores)
	go test $(LDFLAGS) -timeout 30m ./...

check: setup ## formatting, vet, staticcheck, race detector, native leaks
	@unformatted=$$(gofmt -l .); [ -z "$$unformatted" ] || { echo "make: gofmt these:" $$unformatted >&2; exit 1; }
	go vet ./...
	go tool staticcheck ./...
	go test $(LDFLAGS) -race -short -timeout 30m $(RACE)
	go test $(LDFLAGS) -tags matprofile -run MatLeak ./cmd/internal/pipeline

accuracy: setup ## render 742 seeded photos or pairs, read them, print bias, spread and coverage
	go run $(LDFLAGS) ./cmd/accuracy --out out/accuracy
	@mkdir -p testdata/accuracy && cp out/accuracy/summary.md out/accuracy/summary.csv out/accuracy/accuracy.png testdata/accuracy/

accuracy-flat: setup ## the same for 200 plain photos of flat surfaces only
	go run $(LDFLAGS) ./cmd/accuracy --strata flat --count 200 --out out/accuracy-flat

accuracy-taper: setup ## tapers found and imagined, in 600 flat strips and 64 moderate ones
	go run $(LDFLAGS) ./cmd/accuracy --taper --told surface --strata flat --count 300 --out out/accuracy-taper
	go run $(LDFLAGS) ./cmd/accuracy --taper --told surface --strata moderate --count 32 --out out/accuracy-taper-moderate
	@mkdir -p testdata/accuracy && cp out/accuracy-taper/taper.md testdata/accuracy/ && \
	  cp out/accuracy-taper-moderate/taper.md testdata/accuracy/taper-moderate.md

accuracy-strand: setup ## diameters of 80 rendered unused strands against their truth
	go test $(LDFLAGS) ./vision -run '^TestMeasureStrand$$' -strands 80 -v -timeout 30m

bench: build ## run the benchmarks; x-grey is time over that of a grey decode
	STRIPGAP=$(CURDIR)/stripgap go test $(LDFLAGS) -run '^$$' -bench . -benchmem ./...

load: setup ## eight phones send 12 MP photos to the page for two minutes
	go test $(LDFLAGS) ./cmd/internal/bench -run '^TestLoad$$' -load 2m -v

FUZZTIME := 10m
fuzz: setup ## fuzz every target for FUZZTIME (10m) each; crashers stay in testdata/fuzz
	@grep -rnoE --include='*_test.go' '^func Fuzz[A-Za-z0-9_]+' . | \
	while IFS=: read -r file _ target; do \
	  go test $(LDFLAGS) -run '^$$' -fuzz "^$${target#func }\$$" -fuzztime $(FUZZTIME) "$$(dirname "$$file")" || exit 1; \
	done

clean: ## remove what was built and written
	rm -rf stripgap accuracy out
