# Leadline: everything a fresh Debian 12 needs is set up by the targets
# themselves. make demo shows the tool at work, make test checks it.

SHELL := /bin/bash
GO    ?= go

# To build: a C compiler and what the window links.
BUILD_PACKAGES := gcc libc6-dev pkg-config libgl1-mesa-dev libx11-dev libxrandr-dev \
	libxinerama-dev libxcursor-dev libxi-dev libxxf86vm-dev libasound2-dev
# To test: a screen, hands, and toolkits to check against.
TEST_PACKAGES := xvfb xdotool x11-utils xauth imagemagick libgl1-mesa-dri dcmtk dicom3tools libgdcm-tools \
	python3-pydicom python3-numpy python3-scipy python3-opencv

.PHONY: all build demo test bench study setup setup-build setup-test check-go clean

all: build

build: setup-build
	@mkdir -p bin
	$(GO) build -trimpath -buildvcs=false -o bin/ ./cmd/...

# A practice case, measured, worded, drawn, and opened where there is a display.
demo: build
	bin/leadline demo out/practice
	@if [ -n "$$DISPLAY" ]; then bin/leadline open out/practice || [ $$? -eq 2 ]; \
	else echo; echo "No display here, so the viewer is not opened. In a desktop session: bin/leadline open out/practice"; fi

test: setup build
	@unformatted=$$(gofmt -l cmd imaging measure viewer); \
	if [ -n "$$unformatted" ]; then echo "gofmt would change:"; echo "$$unformatted"; exit 1; fi
	$(GO) vet ./...
	LEADLINE_REQUIRE_TOOLS=1 $(GO) test -timeout 12m ./...

bench: setup build
	LEADLINE_REQUIRE_TOOLS=1 $(GO) test -run '^$$' -bench . -benchmem ./...

# The long comparisons against the independent simulator.
study: setup build
	LEADLINE_REQUIRE_TOOLS=1 LEADLINE_STUDY=1 $(GO) test -timeout 60m -count 1 -v -run Oracle ./cmd/leadline

setup: setup-build setup-test

setup-build: check-go
	@.ci/packages $(BUILD_PACKAGES)
	@$(GO) mod download

setup-test:
	@.ci/packages $(TEST_PACKAGES)

# Debian 12's own Go is too old for go.mod; GOTOOLCHAIN fetches the right one
# where any Go from 1.21 is there.
check-go:
	@if ! command -v $(GO) >/dev/null; then \
		echo "make: no Go found: install Go 1.26 or later (see go.dev/doc/install) and put its bin folder on the PATH" >&2; exit 1; fi
	@$(GO) version >/dev/null || { \
		echo "make: this Go cannot build Leadline, which needs $$(awk '$$1=="go"{print $$2}' go.mod): see go.dev/doc/install" >&2; exit 1; }

clean:
	rm -rf bin out
