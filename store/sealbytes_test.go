package store

import (
	"crypto/sha256"
	"encoding/hex"
	"testing"
)

// What tests of seals in package store_test look at.
var (
	Sealed       = sealed
	Unsealed     = unsealed
	NamesOfRows  = namesOfRows
	ReadLayout   = readLayout
	LeavesOnPage = leavesOnPage
)

// TestMerkleRootsArePublishedOnes takes the eight leaves and roots with which implementations of RFC 6962 are tested (the
// reference implementation of Certificate Transparency; values from memory, and each is confirmed by the others).
func TestMerkleRootsArePublishedOnes(t *testing.T) {
	leaves := []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	roots := []string{
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"}
	var tree merkle
	if root := tree.root(); hex.EncodeToString(root[:]) != "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855" {
		t.Errorf("the root of no leaves is %x, want the hash of nothing", root)
	}
	for i, text := range leaves {
		leaf, err := hex.DecodeString(text)
		if err != nil {
			t.Fatal(err)
		}
		tree.add(sha256.Sum256(append([]byte{0}, leaf...)))
		if root := tree.root(); hex.EncodeToString(root[:]) != roots[i] {
			t.Errorf("%d leaves: root %x, want %s", i+1, root, roots[i])
		}
	}
}

func TestRowsAreWrittenUnambiguously(t *testing.T) {
	table := sealTable{Table: "reading", Columns: []string{"absence", "seq", "value"}}
	got := string(appendRow(nil, table, [][]byte{[]byte(""), []byte("12"), nil}))
	if want := "7:reading,7:absence,0:,3:seq,2:12,5:value,-\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	other := string(appendRow(nil, table, [][]byte{nil, []byte("12"), []byte("")}))
	if got == other {
		t.Error("null and empty are written alike")
	}
}

type (
	SealGroup = sealGroup
	SealTable = sealTable
)
