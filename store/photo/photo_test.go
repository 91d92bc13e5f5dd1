package photo

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"
)

// corners is a picture whose top left quarter is red and the rest blue.
func corners(w, h int) image.Image {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.RGBA{0, 0, 255, 255}
			if x < w/2 && y < h/2 {
				c = color.RGBA{255, 0, 0, 255}
			}
			m.SetRGBA(x, y, c)
		}
	}
	return m
}

func asJPEG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func asPNG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// withEXIF puts an APP1 segment behind the first marker of a JPEG: orientation, and a place as a camera writes it.
func withEXIF(t testing.TB, body []byte, orientation uint16, order binary.ByteOrder) []byte {
	t.Helper()
	var tiff bytes.Buffer
	mark := "MM"
	if order == binary.LittleEndian {
		mark = "II"
	}
	tiff.WriteString(mark)
	for _, v := range []any{uint16(42), uint32(8), uint16(2),
		uint16(0x0112), uint16(3), uint32(1), orientation, uint16(0),
		uint16(0x8825), uint16(4), uint32(1), uint32(38), uint32(0)} {
		if err := binary.Write(&tiff, order, v); err != nil {
			t.Fatal(err)
		}
	}
	tiff.WriteString("GPS 48.2082 N 16.3738 E")
	payload := append([]byte("Exif\x00\x00"), tiff.Bytes()...)
	segment := binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(len(payload)+2))
	out := append(bytes.Clone(body[:2]), segment...)
	return append(append(out, payload...), body[2:]...)
}

// decoded is a kept picture, which must be a whole JPEG of the size it says.
func decoded(t testing.TB, k Kept) image.Image {
	t.Helper()
	m, err := jpeg.Decode(bytes.NewReader(k.Bytes))
	if err != nil || k.Kind != "jpeg" || m.Bounds().Dx() != k.Width || m.Bounds().Dy() != k.Height {
		t.Fatalf("%s of %d × %d: %v", k.Kind, k.Width, k.Height, err)
	}
	return m
}

func isRed(c color.Color) bool {
	r, _, b, _ := c.RGBA()
	return r > 0xb000 && b < 0x5000
}

func TestPlaceOfAPhotoIsLeftBehindAndItStandsUpright(t *testing.T) {
	// Where the red quarter is after turning, by EXIF 2.32, 4.6.5: left or right, top or bottom.
	at := map[uint16][2]bool{1: {true, true}, 2: {false, true}, 3: {false, false}, 4: {true, false}, 5: {true, true}, 6: {false, true}, 7: {false, false}, 8: {true, false}}
	for orientation, want := range at {
		for _, order := range []binary.ByteOrder{binary.BigEndian, binary.LittleEndian} {
			sent := withEXIF(t, asJPEG(t, corners(64, 32)), orientation, order)
			if !bytes.Contains(sent, []byte("GPS 48.2082")) {
				t.Fatal("the sample has no place in it")
			}
			k, err := Take(sent)
			if err != nil {
				t.Fatal(err)
			}
			for _, b := range [][]byte{k.Bytes, k.Thumbnail} {
				if bytes.Contains(b, []byte("GPS")) || bytes.Contains(b, []byte("Exif")) {
					t.Errorf("orientation %d: what the camera wrote is still there", orientation)
				}
			}
			m := decoded(t, k)
			w, h := m.Bounds().Dx(), m.Bounds().Dy()
			if turned := h > w; turned != (orientation > 4) {
				t.Errorf("orientation %d: %d × %d", orientation, w, h)
			}
			for _, left := range []bool{true, false} {
				for _, top := range []bool{true, false} {
					x, y := w*3/4, h*3/4
					if left {
						x = w / 4
					}
					if top {
						y = h / 4
					}
					if red := isRed(m.At(x, y)); red != (left == want[0] && top == want[1]) {
						t.Errorf("orientation %d: left %v, top %v is red: %v", orientation, left, top, red)
					}
				}
			}
		}
	}
}

func TestPicturesAreScaledAndTransparencyIsWhite(t *testing.T) {
	k, err := Take(asPNG(t, corners(4096, 1024)))
	if err != nil {
		t.Fatal(err)
	}
	if decoded(t, k); k.Width != 2048 || k.Height != 512 {
		t.Errorf("%d × %d, want 2048 × 512", k.Width, k.Height)
	}
	small, err := jpeg.DecodeConfig(bytes.NewReader(k.Thumbnail))
	if err != nil || small.Width != 320 || small.Height != 80 {
		t.Errorf("thumbnail %d × %d, %v", small.Width, small.Height, err)
	}
	clear := image.NewNRGBA(image.Rect(0, 0, 8, 8))
	if k, err = Take(asPNG(t, clear)); err != nil {
		t.Fatal(err)
	}
	if r, g, b, _ := decoded(t, k).At(4, 4).RGBA(); r < 0xf000 || g < 0xf000 || b < 0xf000 {
		t.Errorf("clear became %x %x %x", r, g, b)
	}
}

func TestWebPIsDecoded(t *testing.T) {
	// A lossless WebP of one pixel.
	body, err := base64.StdEncoding.DecodeString("UklGRhoAAABXRUJQVlA4TA0AAAAvAAAAEAcQERGIiP4HAA==")
	if err != nil {
		t.Fatal(err)
	}
	k, err := Take(body)
	if err != nil {
		t.Fatal(err)
	}
	if decoded(t, k); k.Width != 1 || k.Height != 1 {
		t.Errorf("%d × %d", k.Width, k.Height)
	}
}

// claimed is a PNG of one pixel that says it has w × h.
func claimed(t testing.TB, w, h uint32) []byte {
	t.Helper()
	body := asPNG(t, corners(1, 1))
	binary.BigEndian.PutUint32(body[16:], w)
	binary.BigEndian.PutUint32(body[20:], h)
	binary.BigEndian.PutUint32(body[29:], crc32.ChecksumIEEE(body[12:29]))
	return body
}

func TestWhatIsNoPictureOrTooLargeIsRefusedInWords(t *testing.T) {
	good := asJPEG(t, corners(64, 64))
	scans := append(bytes.Clone(good[:len(good)-2]), bytes.Repeat([]byte{0xff, 0xda}, maxScans+1)...)
	for name, c := range map[string]struct {
		body []byte
		says string
	}{
		"empty":           {nil, "empty"},
		"script":          {[]byte("#!/bin/sh\nrm -rf /\n"), "not a JPEG"},
		"page":            {[]byte("<html><script>alert(1)</script>"), "not a JPEG"},
		"drawing":         {[]byte(`<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>`), "not a JPEG"},
		"gif":             {[]byte("GIF89a\x01\x00\x01\x00"), "not a JPEG"},
		"archive":         {[]byte("PK\x03\x04aaaa"), "not a JPEG"},
		"mark alone":      {[]byte("\xff\xd8\xff<script>"), "cannot be read"},
		"cut off":         {good[:len(good)/2], "cannot be read"},
		"bomb":            {claimed(t, 60000, 60000), "24 million"},
		"one long line":   {claimed(t, 1<<30, 1), "24 million"},
		"less than said":  {claimed(t, 4000, 4000), "cannot be read"},
		"passes":          {scans, "passes"},
		"too long":        {append(bytes.Clone(good), make([]byte, MaxBytes)...), "more than 12 MB"},
		"half a document": {[]byte("%PDF-1.7\n1 0 obj"), "not whole"},
	} {
		_, err := Take(c.body)
		var refused *Error
		if !errors.As(err, &refused) || !strings.Contains(refused.Sentence, c.says) {
			t.Errorf("%s: %v, want %q", name, err, c.says)
		}
	}
}

func TestWhatHangsOnAPictureIsLeftBehind(t *testing.T) {
	k, err := Take(append(asJPEG(t, corners(16, 16)), []byte("<script>alert(1)</script>")...))
	if err != nil || bytes.Contains(k.Bytes, []byte("script")) {
		t.Errorf("%v", err)
	}
	certificate := []byte("%PDF-1.4\n1 0 obj\n<<>>\nendobj\ntrailer\n<<>>\n%%EOF\n")
	if k, err := Take(certificate); err != nil || k.Kind != "pdf" || !bytes.Equal(k.Bytes, certificate) {
		t.Errorf("certificate: %v", err)
	}
}

func FuzzTake(f *testing.F) {
	f.Add(asJPEG(f, corners(8, 8)))
	f.Add(asPNG(f, corners(8, 8)))
	f.Add(withEXIF(f, asJPEG(f, corners(8, 4)), 6, binary.LittleEndian))
	f.Add([]byte("RIFF\x1a\x00\x00\x00WEBPEXIF\xff\xff\xff\x7f"))
	f.Fuzz(func(t *testing.T, body []byte) {
		k, err := Take(body)
		if err != nil {
			if _, ok := err.(*Error); !ok {
				t.Fatalf("%v is not an *Error", err)
			}
			return
		}
		if k.Kind == "jpeg" {
			decoded(t, k)
		}
	})
}
