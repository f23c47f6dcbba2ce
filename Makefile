# Leadline: everything a fresh Debian 12 needs is set up by the targets
# themselves. make demo shows the tool at work, make test checks it.

SHELL := /bin/bash
# A Go that setup had to fetch goes before the system's.
export PATH := $(CURDIR)/.setup/go/bin:$(PATH)

# To build: a C compiler and what the window links.
BUILD_PACKAGES := gcc libc6-dev pkg-config libgl1-mesa-dev libx11-dev libxrandr-dev \
	libxinerama-dev libxcursor-dev libxi-dev libxxf86vm-dev libasound2-dev
# To build leadline-assist, which finds needles and margins. Where OpenCV cannot be
# had everything else is built, and does without.
ASSIST_PACKAGES := g++ libopencv-dev
# To test: a screen, hands, and toolkits to check against.
TEST_PACKAGES := xvfb xdotool x11-utils xauth imagemagick libgl1-mesa-dri dcmtk dicom3tools libgdcm-tools libopenjp2-tools \
	python3-pydicom python3-numpy python3-scipy python3-opencv unrtf cmark poppler-utils

.PHONY: all build demo test bench study setup setup-build setup-test setup-go clean

all: build

build: setup-build
	@mkdir -p bin
	go build -trimpath -buildvcs=false -o bin/ $$(go list ./cmd/... | grep -v /leadline-assist)
	@if pkg-config --exists opencv4; then go build -trimpath -buildvcs=false -o bin/ ./cmd/leadline-assist; \
	else rm -f bin/leadline-assist; echo "OpenCV is lacking (Debian: $(ASSIST_PACKAGES)): leadline-assist is not built, and nothing is suggested; all else works."; fi

# A practice case, measured, worded, drawn, and opened where there is a display.
demo: build
	bin/leadline demo out/practice
	@if [ -n "$$DISPLAY" ]; then bin/leadline open out/practice || [ $$? -eq 2 ]; \
	else echo; echo "No display here, so the viewer is not opened. In a desktop session: bin/leadline open out/practice"; fi

test: setup build
	@unformatted=$$("$$(go env GOROOT)/bin/gofmt" -l cmd imaging measure viewer); \
	if [ -n "$$unformatted" ]; then echo "gofmt would change:"; echo "$$unformatted"; exit 1; fi
	go vet ./...
	LEADLINE_REQUIRE_TOOLS=1 go test -timeout 12m ./...

bench: setup build
	LEADLINE_REQUIRE_TOOLS=1 go test -timeout 60m -run '^$$' -bench . -benchmem ./...

# The long comparisons: against simulators, how often intervals hold, how near the
# bounds what is suggested comes.
study: setup build
	LEADLINE_REQUIRE_TOOLS=1 LEADLINE_STUDY=1 go test -timeout 60m -count 1 -v -run Simulated ./cmd/leadline ./imaging/vision
	LEADLINE_REQUIRE_TOOLS=1 LEADLINE_STUDY=1 go test -timeout 60m -count 1 -v -run 'Scale|Compare|Gaps|Yardstick' ./measure/pose
	LEADLINE_REQUIRE_TOOLS=1 LEADLINE_STUDY=1 go test -timeout 60m -count 1 -v -run 'Coverage|Exact' ./measure/placement

setup: setup-build setup-test

setup-build: setup-go
	@.ci/packages $(BUILD_PACKAGES)
	@.ci/packages $(ASSIST_PACKAGES) || true
	@go mod download

setup-test:
	@.ci/packages $(TEST_PACKAGES)

setup-go:
	@.ci/go

clean:
	rm -rf bin out
