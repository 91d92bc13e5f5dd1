package photo

import (
	"bytes"
	"regexp"
	"strconv"
)

// TakeSheet returns a safety data sheet as it came: a PDF that opens without a password, because whoever needs it needs it now.
// It follows the file's own pointer to the table of its objects (ISO 32000-1, 7.5.5 and 7.5.8); bytes that only begin and end
// like a PDF lead nowhere. What cannot be taken is an *Error.
func TakeSheet(body []byte) (Kept, error) {
	if len(body) > 0 && len(body) <= MaxBytes && kindOf(body) != "pdf" {
		return Kept{}, wrong("This is not a PDF. A safety data sheet is kept as a PDF; print or scan it to one.")
	}
	kept, err := Take(body)
	if err != nil {
		return Kept{}, err
	}
	switch head := trailer(body); {
	case !bytes.Contains(head, []byte("/Root")):
		return Kept{}, wrong("The PDF cannot be read: the table of its pages is missing or damaged. Print the sheet to a new PDF and send that.")
	case bytes.Contains(head, []byte("/Encrypt")):
		return Kept{}, wrong("The PDF is encrypted and may ask for a password when it is needed most. Print the sheet to a new PDF without protection and send that.")
	}
	return kept, nil
}

var (
	startXref  = regexp.MustCompile(`startxref\s+([0-9]{1,10})\s`)
	xrefStream = regexp.MustCompile(`^[0-9]+\s+[0-9]+\s+obj\b`)
)

// trailer returns what the table of objects says about the file as a whole: the trailer, or the head of a stream that is the
// table; nil if the last pointer leads to neither.
func trailer(body []byte) []byte {
	all := startXref.FindAllSubmatch(body[max(0, len(body)-1024):], -1)
	if len(all) == 0 {
		return nil
	}
	at, err := strconv.Atoi(string(all[len(all)-1][1]))
	if err != nil || at >= len(body) {
		return nil
	}
	table, end := bytes.TrimLeft(body[at:], "\x00\t\n\f\r "), "stream"
	switch {
	case bytes.HasPrefix(table, []byte("xref")):
		_, table, _ = bytes.Cut(table, []byte("trailer"))
		end = "startxref"
	case !xrefStream.Match(table):
		return nil
	}
	head, _, found := bytes.Cut(table, []byte(end))
	if !found {
		return nil
	}
	return head
}
