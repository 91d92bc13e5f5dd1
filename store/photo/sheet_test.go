package photo

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"
)

// withTable is a PDF of a catalogue alone. Its table of objects is a plain one, or a stream as PDF 1.5 and later have it; more
// stands in what the table says of the file.
func withTable(stream bool, more string) []byte {
	var b bytes.Buffer
	b.WriteString("%PDF-1.7\n1 0 obj\n<< /Type /Catalog >>\nendobj\n")
	at := b.Len()
	if stream {
		fmt.Fprintf(&b, "2 0 obj\n<< /Type /XRef /Size 3 /W [1 2 1] /Root 1 0 R %s /Length 0 >>\nstream\n\nendstream\nendobj\n", more)
	} else {
		fmt.Fprintf(&b, "xref\n0 2\n0000000000 65535 f \n0000000009 00000 n \ntrailer\n<< /Size 2 /Root 1 0 R %s >>\n", more)
	}
	fmt.Fprintf(&b, "startxref\n%d\n%%%%EOF\n", at)
	return b.Bytes()
}

func TestSafetyDataSheetIsAPDFThatOpensWithoutAPassword(t *testing.T) {
	for _, stream := range []bool{false, true} {
		body := withTable(stream, "")
		kept, err := TakeSheet(body)
		if err != nil || kept.Kind != "pdf" || !bytes.Equal(kept.Bytes, body) || kept.Thumbnail != nil {
			t.Errorf("stream %t: %+v, %v, want the PDF as it came", stream, kept, err)
		}
	}
	noise := bytes.Repeat([]byte{0x8f, 0x11, 0xe2, '\n', 0x00}, 4000)
	for name, c := range map[string]struct {
		body []byte
		says string
	}{
		"empty":                     {nil, "empty"},
		"a picture":                 {asPNG(t, corners(8, 8)), "not a PDF"},
		"a script":                  {[]byte("#!/bin/sh\n%PDF-1.4\n%%EOF"), "not a PDF"},
		"a page":                    {[]byte("<html>%PDF-1.7 %%EOF</html>"), "not a PDF"},
		"too large":                 {append(withTable(false, ""), make([]byte, MaxBytes)...), "12 MB"},
		"cut off":                   {withTable(false, "")[:90], "not whole"},
		"head and end alone":        {[]byte("%PDF-1.4\n%%EOF\n"), "cannot be read"},
		"noise with head and end":   {slicesOf("%PDF-1.7\n", string(noise), "\nstartxref\n77\n%%EOF\n"), "cannot be read"},
		"a pointer past the end":    {bytes.Replace(withTable(false, ""), []byte("startxref\n"), []byte("startxref\n9"), 1), "cannot be read"},
		"a table without a head":    {bytes.Replace(withTable(false, ""), []byte("/Root"), []byte("/Toor"), 1), "cannot be read"},
		"a pointer of many figures": {slicesOf("%PDF-1.7\nstartxref\n9999999999\n%%EOF\n"), "cannot be read"},
		"with a password":           {withTable(false, "/Encrypt 5 0 R"), "password"},
		"with a password, stream":   {withTable(true, "/Encrypt 5 0 R"), "password"},
	} {
		_, err := TakeSheet(c.body)
		var wrong *Error
		if !errors.As(err, &wrong) || !strings.Contains(wrong.Sentence, c.says) {
			t.Errorf("%s: %v, want a sentence with “%s”", name, err, c.says)
		}
	}
}

func slicesOf(parts ...string) []byte { return []byte(strings.Join(parts, "")) }

func FuzzTakeSheet(f *testing.F) {
	f.Add(withTable(false, ""))
	f.Add(withTable(true, "/Encrypt 5 0 R"))
	f.Add([]byte("%PDF-1.7\nstartxref\n0\n%%EOF"))
	f.Fuzz(func(t *testing.T, body []byte) {
		kept, err := TakeSheet(body)
		var wrong *Error
		if err != nil && !errors.As(err, &wrong) {
			t.Fatalf("%v is no sentence for people", err)
		}
		if err == nil && !bytes.Equal(kept.Bytes, body) {
			t.Fatal("the sheet was changed")
		}
	})
}
