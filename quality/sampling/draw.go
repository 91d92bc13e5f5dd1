package sampling

import (
	"fmt"
	"math/rand/v2"
)

// Draw returns the order in which the pieces of a lot are drawn, without putting back: a permutation of 0 … lot-1 whose first
// n are a simple random sample of n. The same seed and lot give the same order on every machine and release, so that a draw
// on record can be repeated. It returns ErrLotSize below 1.
//
// Pieces are exchanged from the front (Fisher and Yates); the numbers are those of ChaCha8 with the seed as its key, and
// those that would favour low places are thrown away.
//
// Source: definition; the generator is specified at c2sp.org/chacha8rand (from memory).
func Draw(seed [32]byte, lot int) ([]int, error) {
	if lot < 1 {
		return nil, fmt.Errorf("a lot of %d: %w, which begins at 1", lot, ErrLotSize)
	}
	source := rand.NewChaCha8(seed)
	order := make([]int, lot)
	for i := range order {
		order[i] = i
	}
	for i := range order {
		k := i + int(below(source, uint64(lot-i)))
		order[i], order[k] = order[k], order[i]
	}
	return order, nil
}

// below returns a number from 0 to n-1, each equally likely.
func below(source *rand.ChaCha8, n uint64) uint64 {
	// The numbers from here on make a last, incomplete round.
	limit := ^uint64(0) - ^uint64(0)%n
	for {
		if v := source.Uint64(); v < limit {
			return v % n
		}
	}
}
