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
	"coatbook/web/form"
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

// A fileHome is the thing that a posted file belongs to.
type fileHome struct {
	of store.FileOwner
	// back is the place on the thing's page that shows its files.
	back string
	// again shows the page once more, with what is wrong and what was typed.
	again func(w http.ResponseWriter, r *http.Request, status int, problem string, typed *form.Answers) error
	// read takes from the form what this kind of file needs besides a caption; nil for nothing. What is wrong stands in typed.
	read func(typed *form.Answers, of *store.FileOwner)
}

// addFileTo returns the handler that keeps a posted file with the thing that its address names.
func (s *Server) addFileTo(find func(r *http.Request) (fileHome, error)) func(http.ResponseWriter, *http.Request) error {
	return func(w http.ResponseWriter, r *http.Request) error {
		home, err := find(r)
		if err != nil {
			return err
		}
		typed, problem, status, err := s.addFile(r, home)
		if err != nil {
			return err
		}
		if problem != "" {
			return home.again(w, r, status, problem, typed)
		}
		http.Redirect(w, r, home.back, http.StatusSeeOther)
		return nil
	}
}

func (s *Server) holdFiles(r *http.Request) (fileHome, error) {
	h, err := s.store.HoldByNumber(r.Context(), visitFrom(r).site.ID, param(r, "number"))
	return fileHome{of: store.FileOwner{Kind: store.FileOfHold, ID: h.ID}, back: "/holds/" + url.PathEscape(h.Number) + "#files",
		again: func(w http.ResponseWriter, r *http.Request, status int, problem string, _ *form.Answers) error {
			return s.renderHold(w, r, status, problem)
		}}, err
}

func (s *Server) recordFiles(r *http.Request) (fileHome, error) {
	record, err := s.recordAt(r)
	return fileHome{of: store.FileOwner{Kind: store.FileOfRecord, ID: record.ID}, back: "/records/" + record.ID.String() + "#files",
		again: func(w http.ResponseWriter, r *http.Request, status int, problem string, _ *form.Answers) error {
			return s.renderRecord(w, r, status, problem)
		}}, err
}

// articleFiles are pictures and certificates that show a line of a first article.
func (s *Server) articleFiles(r *http.Request) (fileHome, error) {
	f, err := s.store.FirstArticleByNumber(r.Context(), visitFrom(r).site.ID, param(r, "number"))
	return fileHome{of: store.FileOwner{Kind: store.FileOfArticle, ID: f.ID}, back: articleHref(f.Number) + "#files",
		again: func(w http.ResponseWriter, r *http.Request, status int, problem string, _ *form.Answers) error {
			view, err := s.articleView(r, problem)
			if err != nil {
				return err
			}
			return s.render(w, r, status, page.Article(view))
		}}, err
}

// deviceFiles are calibration certificates and pictures of a device.
func (s *Server) deviceFiles(r *http.Request) (fileHome, error) {
	i, err := gaugeByCode(r.Context(), s, visitFrom(r).site.ID, param(r, "code"))
	return fileHome{of: store.FileOwner{Kind: store.FileOfInstrument, ID: i.ID}, back: "/gauges/" + url.PathEscape(i.Code) + "#files",
		again: func(w http.ResponseWriter, r *http.Request, status int, problem string, _ *form.Answers) error {
			return s.renderDevice(w, r, status, problem, form.New(values("method", "entered", "grr_of", "tolerance")), "")
		}}, err
}

// lotFiles are the maker's certificate of a lot and pictures of its label.
func (s *Server) lotFiles(r *http.Request) (fileHome, error) {
	id, err := idParam(r, "id")
	if err != nil {
		return fileHome{}, err
	}
	l, err := s.store.MaterialLot(r.Context(), visitFrom(r).site.ID, id)
	return fileHome{of: store.FileOwner{Kind: store.FileOfLot, ID: l.ID}, back: "/setup/lots/" + l.ID.String() + "#files",
		again: func(w http.ResponseWriter, r *http.Request, status int, problem string, _ *form.Answers) error {
			return s.renderLot(w, r, status, form.New(url.Values{}), "", problem)
		}}, err
}

// addFile reads the posted file and keeps it. What is wrong with it comes back as a sentence with the status to say it with.
func (s *Server) addFile(r *http.Request, home fileHome) (typed *form.Answers, problem string, status int, err error) {
	body, words, err := postedFile(r)
	typed = form.New(words)
	home.of.Line = words.Get("line")
	if home.read != nil {
		home.read(typed, &home.of)
	}
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		return typed, fmt.Sprintf("The file has more than %d MB and was not kept. Send a smaller one.", store.MaxFile>>20), http.StatusRequestEntityTooLarge, nil
	case err != nil || len(body) == 0:
		return typed, "Choose a picture or a PDF.", http.StatusUnprocessableEntity, nil
	case !typed.OK():
		return typed, lookAgain, http.StatusUnprocessableEntity, nil
	}
	_, err = s.store.AddFile(r.Context(), visitFrom(r).actor, home.of, body, words.Get("caption"))
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return typed, refusal.Sentence, answerTo(r, err).status, nil
	}
	if err == nil {
		s.flash(r, "The file is in the book.")
	}
	return typed, "", 0, err
}

// postedFile reads the first file of a form into memory, no further than its limit. Its name is not read: nothing is stored
// under it. Nothing is written to disk. The words are those that came before the file, where the file breaks off.
func postedFile(r *http.Request) (body []byte, words url.Values, err error) {
	words = url.Values{}
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, words, err
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return body, words, nil
		}
		if err != nil {
			return nil, words, err
		}
		switch name := part.FormName(); {
		case name == "caption" || name == "line" || name == "issued":
			text, err := io.ReadAll(io.LimitReader(part, 1000))
			if err != nil {
				return nil, words, err
			}
			words.Set(name, strings.TrimSpace(strings.ToValidUTF8(string(text), "")))
		case name == "file" && body == nil:
			// One byte more than may be kept, so that a longer file is seen to be one.
			if body, err = io.ReadAll(io.LimitReader(part, store.MaxFile+1)); err != nil {
				return nil, words, err
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
