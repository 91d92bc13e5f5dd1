package ui

import (
	"fmt"
	"strconv"
	"strings"

	goqr "github.com/piglig/go-qr"
)

// quiet is the white border that a reader needs around a QR code, in modules (ISO/IEC 18004).
const quiet = 4

// QR is a QR code as one path, with its quiet zone.
type QR struct{ Box, Side, Path, Words string }

// NewQR encodes text with error correction M: a scratched tag still reads. It returns an error for text too long for a
// tag.
func NewQR(text string) (QR, error) {
	code, err := goqr.EncodeText(text, goqr.Medium)
	if err != nil {
		return QR{}, fmt.Errorf("code for “%s”: %w", text, err)
	}
	size := code.Size()
	var path strings.Builder
	for y := range size {
		for x := range size {
			if code.Module(x, y) {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", x+quiet, y+quiet)
			}
		}
	}
	side := strconv.Itoa(size + 2*quiet)
	return QR{Box: "0 0 " + side + " " + side, Side: side, Path: path.String(), Words: "Code of " + text}, nil
}
