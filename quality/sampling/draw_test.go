package sampling_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"coatbook/quality/sampling"
)

func TestDrawIsAPermutationAndTheSameForTheSameSeed(t *testing.T) {
	seed := [32]byte{7, 1, 1}
	for _, lot := range []int{1, 2, 10, 501} {
		order, err := sampling.Draw(seed, lot)
		if err != nil {
			t.Fatal(err)
		}
		again, _ := sampling.Draw(seed, lot)
		if !slices.Equal(order, again) {
			t.Errorf("a lot of %d: %v, then %v", lot, order, again)
		}
		sorted := slices.Sorted(slices.Values(order))
		for i, v := range sorted {
			if v != i {
				t.Fatalf("a lot of %d: %v is no permutation", lot, order)
			}
		}
	}
	other, _ := sampling.Draw([32]byte{7, 1, 2}, 501)
	first, _ := sampling.Draw(seed, 501)
	if slices.Equal(first, other) {
		t.Error("two seeds gave the same draw")
	}
	for _, lot := range []int{0, -3} {
		if _, err := sampling.Draw(seed, lot); !errors.Is(err, sampling.ErrLotSize) {
			t.Errorf("a lot of %d: %v", lot, err)
		}
	}
}

// A draw on record must come out the same with every later version: this one was made when it was written.
func TestDrawStaysAsItWasMade(t *testing.T) {
	order, err := sampling.Draw([32]byte([]byte("the seed of a draw, 32 bytes far")), 12)
	if err != nil {
		t.Fatal(err)
	}
	if want := []int{0, 4, 11, 2, 7, 5, 6, 1, 9, 3, 8, 10}; !slices.Equal(order, want) {
		t.Errorf("drawn %v, want %v", order, want)
	}
}

// Each piece is as likely in the sample as any other. With 8000 draws of 3 from 8 each is drawn 3000 times, with a standard
// deviation of √(8000·3/8·5/8) = 43.3; five of them are allowed.
func TestDrawFavoursNoPlace(t *testing.T) {
	drawn := make([]int, 8)
	for i := range 8000 {
		order, err := sampling.Draw([32]byte{byte(i), byte(i >> 8), 1}, 8)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range order[:3] {
			drawn[p]++
		}
	}
	for p, n := range drawn {
		if math.Abs(float64(n)-3000) > 5*43.3 {
			t.Errorf("piece %d was drawn %d times in 8000", p, n)
		}
	}
}
