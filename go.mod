module leadline

go 1.26.8

require (
	github.com/disintegration/imaging v1.6.2
	github.com/google/renameio/v2 v2.0.2
	github.com/hajimehoshi/ebiten/v2 v2.8.8
	github.com/klauspost/compress v1.18.0
	github.com/rogpeppe/go-internal v1.16.0
	github.com/suyashkumar/dicom v1.1.0
	gocv.io/x/gocv v0.31.0
	golang.org/x/image v0.47.0
	golang.org/x/sys v0.50.0
	golang.org/x/text v0.43.0
	gonum.org/v1/gonum v0.17.0
)

require (
	github.com/ebitengine/gomobile v0.0.0-20240911145611-4856209ac325 // indirect
	github.com/ebitengine/hideconsole v1.0.0 // indirect
	github.com/ebitengine/purego v0.8.0 // indirect
	github.com/go-pdf/fpdf v0.9.0
	github.com/go-text/typesetting v0.2.0 // indirect
	github.com/jezek/xgb v1.1.1 // indirect
	golang.org/x/exp v0.0.0-20240525044651-4c93da0ed11d // indirect
	golang.org/x/sync v0.24.0 // indirect
	golang.org/x/tools v0.51.0 // indirect
)
