package store_test

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"strings"
	"testing"

	"coatbook/store"
	"coatbook/store/storetest"
)

// pictured is a PNG of one shade of grey.
func pictured(t testing.TB, shade byte) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 40, 20))
	for i := range m.Pix {
		m.Pix[i] = shade
	}
	m.SetGray(1, 1, color.Gray{Y: shade / 2})
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestPictureIsKeptOnceUnderAnIdOfTheServerAndVerified(t *testing.T) {
	s := newSealedShop(t)
	saved := s.Weld(s.Parts(1)[0], "100")
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, saved.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	of := store.FileOwner{Kind: store.FileOfHold, ID: h.ID}
	f, err := s.DB.AddFile(t.Context(), s.Everyone, of, pictured(t, 200), "../../x.jpg")
	if err != nil || f.Kind != "jpeg" || *f.Width != 40 || f.Caption != "../../x.jpg" {
		t.Fatalf("%+v, %v", f, err)
	}
	if again, err := s.DB.AddFile(t.Context(), s.Everyone, of, pictured(t, 200), ""); err != nil || again.ID != f.ID {
		t.Errorf("the same picture again is %s, %v", again.ID, err)
	}
	if _, body, err := s.DB.FileBytes(t.Context(), s.Site.ID, f.ID, false); err != nil || !bytes.HasPrefix(body, []byte("\xff\xd8\xff")) {
		t.Errorf("bytes: %v", err)
	}
	if _, _, err := s.DB.FileBytes(t.Context(), store.NewID(), f.ID, false); err == nil {
		t.Error("another site reads the picture")
	}
	on := store.FileOwner{Kind: store.FileOfRecord, ID: saved.RecordID}
	if _, err := s.DB.AddFile(t.Context(), s.Everyone, on, pictured(t, 201), ""); err != nil {
		t.Fatal(err)
	}
	_, err = s.DB.AddFile(t.Context(), s.Everyone, of, []byte("#!/bin/sh"), "")
	refusedBy(t, err, store.RuleFile)
	if _, err = s.DB.AddFile(t.Context(), s.Everyone, store.FileOwner{Kind: store.FileOfHold, ID: store.NewID()}, pictured(t, 9), ""); err == nil {
		t.Error("a picture of a hold that is not there")
	}
	auditor := s.AddPerson("Orla Quist", "orla", store.Auditor)
	_, err = s.DB.AddFile(t.Context(), auditor, of, pictured(t, 9), "")
	refusedBy(t, err, store.RuleNoRight)
	if _, faults := s.verify(store.Trust{}); faults != "" {
		t.Fatal(faults)
	}
	s.forge(`UPDATE file_content SET bytes = set_byte(bytes, 30, get_byte(bytes, 30) # 1) WHERE file_id = $1 RETURNING file_id::text`, f.ID)
	if _, faults := s.verify(store.Trust{}); !strings.Contains(faults, f.ID.String()) {
		t.Errorf("a changed picture is not found: %q", faults)
	}
}

func TestNoMoreFilesOnOneThingThanAllowed(t *testing.T) {
	s := storetest.NewShop(t)
	saved := s.Weld(s.Parts(1)[0], "100")
	of := store.FileOwner{Kind: store.FileOfRecord, ID: saved.RecordID}
	for i := range store.MaxFiles {
		if _, err := s.DB.AddFile(t.Context(), s.Everyone, of, pictured(t, byte(20+10*i)), ""); err != nil {
			t.Fatal(err)
		}
	}
	_, err := s.DB.AddFile(t.Context(), s.Everyone, of, pictured(t, 255), "")
	refusedBy(t, err, store.RuleFile)
	if files, err := s.DB.FilesOf(t.Context(), s.Site.ID, of); err != nil || len(files) != store.MaxFiles {
		t.Errorf("%d files, %v", len(files), err)
	}
}
