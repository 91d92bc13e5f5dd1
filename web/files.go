package web

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/web/page"
)

// filesView is the pictures and certificates of a thing, with the form for those who may add to them.
func (s *Server) filesView(r *http.Request, of store.FileOwner, address, problem string) (page.FilesView, error) {
	v := visitFrom(r)
	view := page.FilesView{Problem: problem}
	files, err := s.store.FilesOf(r.Context(), v.site.ID, of)
	if err != nil {
		return view, err
	}
	for _, f := range files {
		view.Items = append(view.Items, fileItem(f, v.site.Location()))
	}
	switch {
	case bench.admits(v) != nil:
	case len(files) >= store.MaxFiles:
		view.Full = fmt.Sprintf("%d are kept here, which is the most.", store.MaxFiles)
	default:
		view.Action = address + "/files"
	}
	return view, nil
}

func fileItem(f store.File, zone *time.Location) page.FileItem {
	item := page.FileItem{Href: "/files/" + f.ID.String(), Name: f.Caption, Meta: fmt.Sprintf("%s, %s, %d kB", f.By, longTime(f.At, zone), (f.Size+1023)/1024)}
	if f.Kind == "jpeg" {
		item.Thumb = item.Href + "/thumbnail"
		item.Name = firstOf(item.Name, "Picture")
	} else {
		item.Name = firstOf(item.Name, "Certificate") + " (PDF)"
	}
	return item
}

// addHoldFile keeps a picture or certificate of a hold.
func (s *Server) addHoldFile(w http.ResponseWriter, r *http.Request) error {
	h, err := s.store.HoldByNumber(r.Context(), visitFrom(r).site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	problem, status, err := s.addFile(r, store.FileOwner{Kind: store.FileOfHold, ID: h.ID})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderHold(w, r, status, problem)
	}
	http.Redirect(w, r, "/holds/"+url.PathEscape(h.Number)+"#files", http.StatusSeeOther)
	return nil
}

// addRecordFile keeps a picture or certificate of a record.
func (s *Server) addRecordFile(w http.ResponseWriter, r *http.Request) error {
	record, err := s.recordAt(r)
	if err != nil {
		return err
	}
	problem, status, err := s.addFile(r, store.FileOwner{Kind: store.FileOfRecord, ID: record.ID})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderRecord(w, r, status, problem)
	}
	http.Redirect(w, r, "/records/"+record.ID.String()+"#files", http.StatusSeeOther)
	return nil
}

// addFile reads the posted file and keeps it. What is wrong with it comes back as a sentence with the status to say it with.
func (s *Server) addFile(r *http.Request, of store.FileOwner) (problem string, status int, err error) {
	body, words, err := postedFile(r)
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		return fmt.Sprintf("The file has more than %d MB and was not kept. Send a smaller one.", store.MaxFile>>20), http.StatusRequestEntityTooLarge, nil
	case err != nil || len(body) == 0:
		return "Choose a picture or a PDF.", http.StatusUnprocessableEntity, nil
	}
	of.Line = words["line"]
	_, err = s.store.AddFile(r.Context(), visitFrom(r).actor, of, body, words["caption"])
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return refusal.Sentence, answerTo(r, err).status, nil
	}
	if err == nil {
		s.flash(r, "The file is in the book.")
	}
	return "", 0, err
}

// postedFile reads the first file of a form into memory, no further than its limit. Its name is not read: nothing is stored
// under it. Nothing is written to disk.
func postedFile(r *http.Request) (body []byte, words map[string]string, err error) {
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, nil, err
	}
	words = map[string]string{}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return body, words, nil
		}
		if err != nil {
			return nil, nil, err
		}
		switch name := part.FormName(); {
		case name == "caption" || name == "line":
			text, err := io.ReadAll(io.LimitReader(part, 1000))
			if err != nil {
				return nil, nil, err
			}
			words[name] = strings.TrimSpace(strings.ToValidUTF8(string(text), ""))
		case part.FormName() == "file" && body == nil:
			// One byte more than may be kept, so that a longer file is seen to be one.
			if body, err = io.ReadAll(io.LimitReader(part, store.MaxFile+1)); err != nil {
				return nil, nil, err
			}
		}
	}
}

// filePolicy lets a browser do nothing with a file that it opens in spite of being told to keep it.
const filePolicy = "sandbox; default-src 'none'"

func (s *Server) file(w http.ResponseWriter, r *http.Request) error { return s.sendFile(w, r, false) }

func (s *Server) thumbnail(w http.ResponseWriter, r *http.Request) error {
	return s.sendFile(w, r, true)
}

// sendFile gives out a file as a download under the name that the server made.
func (s *Server) sendFile(w http.ResponseWriter, r *http.Request, small bool) error {
	id, err := uuid.Parse(param(r, "file"))
	if err != nil {
		return fmt.Errorf("file %q: %w", param(r, "file"), store.ErrNotFound)
	}
	f, body, err := s.store.FileBytes(r.Context(), visitFrom(r).site.ID, id, small)
	if err != nil {
		return err
	}
	h, name := w.Header(), f.ID.String()+".jpg"
	h.Set("Content-Type", "image/jpeg")
	if f.Kind == "pdf" {
		h.Set("Content-Type", "application/pdf")
		name = f.ID.String() + ".pdf"
	}
	h.Set("Content-Disposition", `attachment; filename="`+name+`"`)
	h.Set("Content-Security-Policy", filePolicy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Content-Length", strconv.Itoa(len(body)))
	if _, err := w.Write(body); err != nil {
		s.log.Info("a download broke off", "path", r.URL.Path, "err", err)
	}
	return nil
}
