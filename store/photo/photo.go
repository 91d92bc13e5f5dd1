// Package photo makes what people send as a picture or certificate safe to keep: it decodes a picture to prove that it is one,
// draws it anew at a size for the book, upright, and leaves behind everything else that was in the file, such as where it was
// taken.
package photo

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"

	"golang.org/x/image/draw"
	"golang.org/x/image/webp"
)

const (
	// MaxBytes is how large a file may be.
	MaxBytes = 12 << 20
	// Side is the longest side of a picture that is kept, in pixels, and ThumbnailSide of its small form.
	Side          = 2048
	ThumbnailSide = 320

	// A picture is measured before it is unpacked: a small file may hold a very large one. The decoder of JPEG needs 3 bytes
	// a pixel at most, those of PNG and WebP up to 8.
	maxPixelsJPEG = 50_000_000
	maxPixels     = 24_000_000
	// maxScans bounds the passes of a progressive JPEG, each of which costs the time of the whole picture.
	maxScans = 200
)

// An Error says in a sentence for people why a file is not taken.
type Error struct{ Sentence string }

func (e *Error) Error() string { return e.Sentence }

func wrong(format string, args ...any) error { return &Error{fmt.Sprintf(format, args...)} }

// A Kept is a file as it may be kept. Kind is jpeg or pdf; a certificate has neither size in pixels nor thumbnail.
type Kept struct {
	Kind      string
	Bytes     []byte
	Thumbnail []byte
	Width     int
	Height    int
}

// turns lets few pictures be unpacked at once, so that many uploads together stay within the server's memory.
var turns = make(chan struct{}, 2)

// Take returns a JPEG, PNG or WebP picture drawn anew as JPEG of at most Side pixels a side, or a PDF as it came. Which of
// them it is is read from the bytes; a name or a declared type counts for nothing. What cannot be taken is an *Error.
func Take(body []byte) (Kept, error) {
	switch {
	case len(body) == 0:
		return Kept{}, wrong("The file is empty. Choose another one.")
	case len(body) > MaxBytes:
		return Kept{}, wrong("The file has more than %d MB. Send a smaller one.", MaxBytes>>20)
	}
	switch kind := kindOf(body); kind {
	case "":
		return Kept{}, wrong("This is not a JPEG, PNG or WebP picture nor a PDF. Send one of these.")
	case "pdf":
		if !bytes.Contains(body[max(0, len(body)-1024):], []byte("%%EOF")) {
			return Kept{}, wrong("The PDF is not whole: its end is missing. Send it again.")
		}
		return Kept{Kind: "pdf", Bytes: body}, nil
	default:
		turns <- struct{}{}
		defer func() { <-turns }()
		return redraw(kind, body)
	}
}

func kindOf(body []byte) string {
	switch {
	case bytes.HasPrefix(body, []byte("\xff\xd8\xff")):
		return "jpeg"
	case bytes.HasPrefix(body, []byte("\x89PNG\r\n\x1a\n")):
		return "png"
	case len(body) >= 12 && string(body[:4]) == "RIFF" && string(body[8:12]) == "WEBP":
		return "webp"
	case bytes.HasPrefix(body, []byte("%PDF-1.")), bytes.HasPrefix(body, []byte("%PDF-2.")):
		return "pdf"
	}
	return ""
}

func redraw(kind string, body []byte) (Kept, error) {
	size, err := measure(kind, body)
	if err != nil {
		return Kept{}, err
	}
	var from image.Image
	switch kind {
	case "jpeg":
		from, err = jpeg.Decode(bytes.NewReader(body))
	case "png":
		from, err = png.Decode(bytes.NewReader(body))
	default:
		from, err = webp.Decode(bytes.NewReader(body))
	}
	if err != nil || from.Bounds().Dx() != size.X || from.Bounds().Dy() != size.Y {
		return Kept{}, unreadable
	}
	picture := upright(scaled(from, Side), orientationOf(kind, body))
	kept := Kept{Kind: "jpeg", Width: picture.Bounds().Dx(), Height: picture.Bounds().Dy()}
	var large, small bytes.Buffer
	if err := jpeg.Encode(&large, picture, &jpeg.Options{Quality: 85}); err != nil {
		return Kept{}, err
	}
	if err := jpeg.Encode(&small, scaled(picture, ThumbnailSide), &jpeg.Options{Quality: 80}); err != nil {
		return Kept{}, err
	}
	kept.Bytes, kept.Thumbnail = large.Bytes(), small.Bytes()
	return kept, nil
}

var unreadable = wrong("The picture cannot be read to its end. Take it again, or send it in another form.")

// measure reads the size of a picture and refuses one that is too large to unpack.
func measure(kind string, body []byte) (image.Point, error) {
	var c image.Config
	var err error
	most := maxPixels
	switch kind {
	case "jpeg":
		most = maxPixelsJPEG
		if bytes.Count(body, []byte{0xff, 0xda}) > maxScans {
			return image.Point{}, wrong("The picture is made of more than %d passes. Save it in another form.", maxScans)
		}
		c, err = jpeg.DecodeConfig(bytes.NewReader(body))
	case "png":
		c, err = png.DecodeConfig(bytes.NewReader(body))
	default:
		c, err = webp.DecodeConfig(bytes.NewReader(body))
	}
	switch {
	case err != nil || c.Width < 1 || c.Height < 1:
		return image.Point{}, unreadable
	case c.Width > most/c.Height:
		return image.Point{}, wrong("The picture has %d × %d pixels; the most is %d million. Send a smaller one.", c.Width, c.Height, most/1_000_000)
	}
	return image.Pt(c.Width, c.Height), nil
}

// scaled returns a picture with its longest side at most so many pixels, on white where it was transparent.
func scaled(from image.Image, side int) *image.RGBA {
	w, h := from.Bounds().Dx(), from.Bounds().Dy()
	if long := max(w, h); long > side {
		w, h = max(1, (w*side+long/2)/long), max(1, (h*side+long/2)/long)
	}
	to := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(to, to.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.BiLinear.Scale(to, to.Bounds(), from, from.Bounds(), draw.Over, nil)
	return to
}

// upright turns a picture by its EXIF orientation, 1 to 8: the first four keep its sides, the others swap them.
func upright(from *image.RGBA, orientation int) *image.RGBA {
	if orientation < 2 || orientation > 8 {
		return from
	}
	w, h := from.Bounds().Dx(), from.Bounds().Dy()
	to := image.NewRGBA(image.Rect(0, 0, w, h))
	if orientation > 4 {
		to = image.NewRGBA(image.Rect(0, 0, h, w))
	}
	for y := range h {
		for x := range w {
			var p image.Point
			switch orientation {
			case 2:
				p = image.Pt(w-1-x, y)
			case 3:
				p = image.Pt(w-1-x, h-1-y)
			case 4:
				p = image.Pt(x, h-1-y)
			case 5:
				p = image.Pt(y, x)
			case 6:
				p = image.Pt(h-1-y, x)
			case 7:
				p = image.Pt(h-1-y, w-1-x)
			case 8:
				p = image.Pt(y, w-1-x)
			}
			to.SetRGBA(p.X, p.Y, from.RGBAAt(x, y))
		}
	}
	return to
}

// orientationOf reads how the camera was held, 1 where the file does not say.
func orientationOf(kind string, body []byte) int {
	switch kind {
	case "jpeg":
		return orientationIn(exifOfJPEG(body))
	case "webp":
		return orientationIn(exifOfWebP(body))
	}
	return 1
}

// exifOfJPEG returns the TIFF part of the APP1 segment, nil if there is none before the picture's data.
func exifOfJPEG(body []byte) []byte {
	for at := 2; at+4 <= len(body) && body[at] == 0xff; {
		marker, n := body[at+1], int(binary.BigEndian.Uint16(body[at+2:]))
		if marker == 0xda || n < 2 || at+2+n > len(body) {
			return nil
		}
		if segment := body[at+4 : at+2+n]; marker == 0xe1 && bytes.HasPrefix(segment, []byte("Exif\x00\x00")) {
			return segment[6:]
		}
		at += 2 + n
	}
	return nil
}

// exifOfWebP returns the EXIF chunk, nil if there is none.
func exifOfWebP(body []byte) []byte {
	for at := 12; at+8 <= len(body); {
		n := int(binary.LittleEndian.Uint32(body[at+4:]))
		if n > len(body)-at-8 {
			return nil
		}
		if string(body[at:at+4]) == "EXIF" {
			return bytes.TrimPrefix(body[at+8:at+8+n], []byte("Exif\x00\x00"))
		}
		at += 8 + n + n%2
	}
	return nil
}

// orientationIn reads tag 0x0112 of the first directory of a TIFF (EXIF 2.32, 4.6.5).
func orientationIn(tiff []byte) int {
	if len(tiff) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.BigEndian
	if string(tiff[:2]) == "II" {
		order = binary.LittleEndian
	}
	at := int(order.Uint32(tiff[4:]))
	if at < 8 || at > len(tiff)-2 {
		return 1
	}
	n := int(order.Uint16(tiff[at:]))
	for i := range n {
		entry := at + 2 + 12*i
		if entry+12 > len(tiff) {
			break
		}
		if order.Uint16(tiff[entry:]) == 0x0112 {
			if v := int(order.Uint16(tiff[entry+8:])); v >= 1 && v <= 8 {
				return v
			}
		}
	}
	return 1
}
