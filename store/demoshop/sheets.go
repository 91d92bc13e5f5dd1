package demoshop

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"time"

	"coatbook/store"
)

// addSheet puts a sheet of our own making into the book: the invented makers have none.
func (s *Shop) addSheet(ctx context.Context, m store.Material, opened time.Time, years int) error {
	of := store.FileOwner{Kind: store.FileOfMaterial, ID: m.ID, IssuedOn: ptr(opened.AddDate(-years, 0, 0))}
	if _, err := s.DB.AddFile(ctx, s.People["nadia"], of, SafetySheet(m.Name+" ("+m.Code+")"), "demo"); err != nil {
		return fmt.Errorf("safety data sheet of %s: %w", m.Code, err)
	}
	return nil
}

// SafetySheet returns a PDF of one page that says whose safety data sheet it stands for and that it is none. The product's name
// is printed as far as Latin 1 goes.
func SafetySheet(product string) []byte {
	var text, pdf bytes.Buffer
	for i, line := range []string{"DEMO - NOT A SAFETY DATA SHEET", product, "An invented product of an invented maker.", "The maker's sheet belongs here, with its 16 sections."} {
		fmt.Fprintf(&text, "BT /F1 %d Tf 72 %d Td (%s) Tj ET\n", 22-4*min(i, 2), 760-36*i, strings.NewReplacer(`\`, `\\`, "(", `\(`, ")", `\)`).Replace(line))
	}
	pdf.WriteString("%PDF-1.4\n")
	objects := []string{"<< /Type /Catalog /Pages 2 0 R >>", "<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
		"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Resources << /Font << /F1 5 0 R >> >> /Contents 4 0 R >>",
		fmt.Sprintf("<< /Length %d >>\nstream\n%sendstream", text.Len(), text.String()), "<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica-Bold >>"}
	places := make([]int, len(objects))
	for i, object := range objects {
		places[i] = pdf.Len()
		fmt.Fprintf(&pdf, "%d 0 obj\n%s\nendobj\n", i+1, object)
	}
	table := pdf.Len()
	fmt.Fprintf(&pdf, "xref\n0 %d\n0000000000 65535 f \n", len(objects)+1)
	for _, at := range places {
		fmt.Fprintf(&pdf, "%010d 00000 n \n", at)
	}
	fmt.Fprintf(&pdf, "trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n", len(objects)+1, table)
	return pdf.Bytes()
}
