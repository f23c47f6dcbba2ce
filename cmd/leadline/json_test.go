package main

import (
	"reflect"
	"testing"

	"leadline/measure/placement"
)

// A term below a thousand-millionth of its value is the arithmetic's noise.
func TestBudgetWithoutNoise(t *testing.T) {
	got := told(placement.Result{Value: -60, Budget: map[string]float64{"marking": 2.2, "tilt": 8e-14, "edge": 7e-8}})
	if want := map[string]float64{"marking": 2.2, "edge": 7e-8}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}
