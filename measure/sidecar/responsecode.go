package sidecar

import "leadline/measure/response"

// Units of stimulation (UCUM).
var (
	unitMilliampere = code{"mA", "UCUM", "milliampere"}
	unitVolt        = code{"V", "UCUM", "volt"}
	unitMicrosecond = code{"us", "UCUM", "microsecond"}
	unitHertz       = code{"Hz", "UCUM", "hertz"}
	unitMicrovolt   = code{"uV", "UCUM", "microvolt"}
)

// amplitudeUnits by the word of a test.
var amplitudeUnits = map[string]code{response.Milliampere: unitMilliampere, response.Volt: unitVolt}

// Concepts of a test of stimulation.
var (
	kindResponse = own("rec-response", "Response to stimulation")

	amplitudeUnit = own("stim-unit", "Unit of the amplitudes")
	thresholdOf   = map[response.Kind]code{
		response.PelvicFloor: own("thr-pelvic", "Threshold of the pelvic floor"),
		response.LegFoot:     own("thr-leg", "Threshold of leg and foot"),
		response.Sensory:     own("thr-sense", "Threshold of sensation"),
	}
	noneUpTo = map[response.Kind]code{
		response.PelvicFloor: own("max-pelvic", "Highest amplitude without response of the pelvic floor"),
		response.LegFoot:     own("max-leg", "Highest amplitude without response of leg and foot"),
		response.Sensory:     own("max-sense", "Highest amplitude without sensation"),
	}
	polarity    = own("polarity", "Electrodes with their sign")
	pulseWidth  = own("pulse-width", "Pulse width")
	pulseRate   = own("rate", "Pulse rate")
	motorSeen   = own("motor", "Movement seen")
	felt        = own("felt", "Sensation felt")
	evoked      = own("evoked", "Amplitude of the evoked muscle response")
	stateOf     = own("state", "State of the patient")
	rootStated  = own("root", "Sacral root, as stated by the observer")
	testRemarks = own("test-note", "Note on the test")
)

var (
	motorTerms = func() vocabulary {
		v := vocabulary{}
		for word, short := range map[response.Motor]string{
			response.Bellows: "bellows", response.Clamp: "clamp", response.PenileRetract: "penile", response.GreatToe: "great-toe",
			response.OtherToes: "toes", response.LittleToe: "little-toe", response.LegRotation: "rotation", response.Calf: "calf",
			response.OtherMotor: "other", response.NoMotor: "none",
		} {
			v[string(word)] = own("move-"+short, upperFirst(word.Words()))
		}
		return v
	}()
	sensationTerms = func() vocabulary {
		v := vocabulary{}
		for word, short := range map[response.Sensation]string{
			response.Rectum: "rectum", response.ScrotumLabia: "genital", response.Perineum: "perineum", response.Buttock: "buttock",
			response.LegSensation: "leg", response.FootSensation: "foot", response.OtherSensation: "other", response.NoSensation: "none",
		} {
			v[string(word)] = own("felt-"+short, upperFirst(word.Words()))
		}
		return v
	}()
	stateTerms    = terms("state-", "awake", "Awake", "sedated", "Sedated", "relaxed", "Under a muscle relaxant")
	amplitudeWord = vocabulary{response.Milliampere: own("unit-ma", "Milliampere"), response.Volt: own("unit-v", "Volt")}
)
