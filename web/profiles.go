package web

import (
	"errors"
	"fmt"
	"io"
	"math"
	"mime/multipart"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// profileUpload asks for the file of the logger that went through the oven with a load.
func (s *Server) profileUpload(w http.ResponseWriter, r *http.Request) error {
	return s.renderUpload(w, r, http.StatusOK, "", uuid.Nil)
}

func (s *Server) renderUpload(w http.ResponseWriter, r *http.Request, status int, problem string, logger uuid.UUID) error {
	v := visitFrom(r)
	load, err := s.store.LoadByNumber(r.Context(), v.site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	instruments, err := s.store.Instruments(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	address := "/loads/" + url.PathEscape(load.Number)
	view := page.ProfileUploadView{Frame: s.benchFrame(v, "Oven profile of "+load.Number), Number: load.Number, Action: address + "/profile", Typed: address + "/cure", Problem: problem,
		Logger: ui.Select{Name: "logger", Label: "Logger", Hint: "its layout is remembered", Scan: "GAUGE", Empty: "not in the register"}}
	for _, i := range instruments {
		if (i.Kind == "logger" || i.Kind == "thermometer") && i.Status == "in_use" {
			view.Logger.Choices = append(view.Logger.Choices, ui.Choice{Value: i.ID.String(), Label: i.Code, Code: i.Code, Chosen: i.ID == logger})
		}
	}
	return s.render(w, r, status, page.ProfileUpload(view))
}

// receiveProfile keeps the file and goes on to what is in it.
func (s *Server) receiveProfile(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	load, err := s.store.LoadByNumber(r.Context(), v.site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	name, body, logger, err := readUpload(r)
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		return s.renderUpload(w, r, http.StatusRequestEntityTooLarge, fmt.Sprintf("The file has more than %d MB and was not kept. Export the run of one day.", store.MaxLoggerFile>>20), logger.UUID)
	case err != nil || name == "" && len(body) == 0:
		return s.renderUpload(w, r, http.StatusUnprocessableEntity, "Choose the logger's file.", logger.UUID)
	}
	file, err := s.store.ReceiveLoggerFile(r.Context(), v.actor, name, body, logger)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return s.renderUpload(w, r, answerTo(r, err).status, refusal.Sentence, logger.UUID)
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/loads/"+url.PathEscape(load.Number)+"/profile/"+file.ID.String(), http.StatusSeeOther)
	return nil
}

// readUpload reads the posted file into memory, part by part and no further than its limit. Nothing is written to disk.
func readUpload(r *http.Request) (name string, body []byte, logger uuid.NullUUID, err error) {
	parts, err := r.MultipartReader()
	if err != nil {
		return "", nil, logger, err
	}
	for {
		var part *multipart.Part
		if part, err = parts.NextPart(); errors.Is(err, io.EOF) {
			return name, body, logger, nil
		}
		if err != nil {
			return name, body, logger, err
		}
		switch part.FormName() {
		case "logger":
			text, err := io.ReadAll(io.LimitReader(part, 64))
			if err != nil {
				return name, body, logger, err
			}
			if id, bad := uuid.Parse(string(text)); bad == nil {
				logger = uuid.NullUUID{UUID: id, Valid: true}
			}
		case "file":
			if name = part.FileName(); body != nil {
				return name, body, logger, errors.New("more than one file")
			}
			// One byte more than may be kept, so that a longer file is seen to be one.
			if body, err = io.ReadAll(io.LimitReader(part, store.MaxLoggerFile+1)); err != nil {
				return name, body, logger, err
			}
		}
	}
}

// loggerFile gives out the file behind a cure record, byte for byte as it came, as a download.
func (s *Server) loggerFile(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	id, err := uuid.Parse(param(r, "id"))
	if err != nil {
		return fmt.Errorf("record %q: %w", param(r, "id"), store.ErrNotFound)
	}
	p, err := s.store.ProfileOf(r.Context(), v.site.ID, id)
	if err != nil {
		return err
	}
	if param(r, "file") != p.File.ID.String()+".csv" {
		return store.ErrNotFound
	}
	h := w.Header()
	h.Set("Content-Type", "application/octet-stream")
	h.Set("Content-Disposition", `attachment; filename="logger-file.csv"; filename*=UTF-8''`+url.PathEscape(p.File.Name))
	h.Set("Content-Length", strconv.FormatInt(p.File.Size, 10))
	h.Set("Repr-Digest", "sha-256=:"+base64Of(p.File.SHA256)+":")
	if _, err := io.Copy(w, s.store.LoggerFileBytes(r.Context(), v.site.ID, p.File.ID)); err != nil {
		s.log.Warn("a download broke off", "path", r.URL.Path, "err", err)
	}
	return nil
}

// profilePlot draws a profile in the site's unit; says has the words for each metal channel, by its place.
func profilePlot(site store.Site, name string, p store.Profile, window quality.CureWindow, says map[string]string) ui.ProfilePlot {
	unit := quality.Unit(site.TemperatureUnit)
	in := func(celsius float64) float64 {
		if v, err := quality.Convert(celsius, quality.Celsius, unit); err == nil && !math.IsNaN(celsius) {
			return v
		}
		return math.NaN()
	}
	d := ui.ProfileData{Name: name, Unit: unit.Symbol(), Above: in(p.AboveC), Low: math.NaN(), High: math.NaN()}
	if n := len(window.Points); n > 0 {
		low, high := math.Inf(1), math.Inf(-1)
		for _, pt := range window.Points {
			low, high = min(low, pt.MetalC), max(high, pt.MetalC)
		}
		d.Low, d.High = in(low), in(high)
	}
	for _, t := range p.Seconds {
		d.Minutes = append(d.Minutes, float64(t)/60)
	}
	for _, c := range p.Channels {
		line := ui.ProfileLine{Place: c.Place, Air: c.Role == "air", Says: says[c.Place], Values: make([]float64, len(c.Celsius))}
		if line.Air {
			line.Says = "air"
		}
		for i, v := range c.Celsius {
			line.Values[i] = in(float64(v))
		}
		d.Lines = append(d.Lines, line)
	}
	return ui.NewProfilePlot(d)
}

// recordedPlot draws the profile of a record on file; nil for a record whose figures were typed.
func (s *Server) recordedPlot(r *http.Request, record store.Record) (*ui.ProfilePlot, *store.Profile, error) {
	v := visitFrom(r)
	p, err := s.store.ProfileOf(r.Context(), v.site.ID, record.ID)
	if errors.Is(err, store.ErrNotFound) {
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, err
	}
	window, err := s.store.CureWindowOf(r.Context(), v.site.ID, record.ID)
	if err != nil {
		return nil, nil, err
	}
	says := map[string]string{}
	for _, reading := range record.Check.Readings {
		switch reading.Characteristic {
		case "metal_peak":
			says[reading.Location] = "peak " + spacedReading(reading)
		case "metal_time":
			says[reading.Location] += ", " + spacedReading(reading) + " at or over " + degrees(v.site, p.AboveC)
		}
	}
	plot := profilePlot(v.site, "Oven profile of load "+record.Subject+": metal and air temperature over time", p, window, says)
	return &plot, &p, nil
}

func spacedReading(r quality.Reading) string {
	if r.Absence != quality.Present {
		return asEntered(r)
	}
	return r.Text + " " + r.Unit.Symbol()
}

// degrees prints a temperature in the site's unit.
func degrees(site store.Site, celsius float64) string {
	unit := quality.Unit(site.TemperatureUnit)
	v, err := quality.Convert(celsius, quality.Celsius, unit)
	if err != nil {
		return ""
	}
	return quality.Number(v, 1) + " " + unit.Symbol()
}

// fillProfile puts the picture of a recorded profile, its file and the powder's window of a cure run into its page.
func (s *Server) fillProfile(r *http.Request, record store.Record, view *page.RecordView) error {
	site := visitFrom(r).site
	window, err := s.store.CureWindowOf(r.Context(), site.ID, record.ID)
	if err != nil {
		return err
	}
	for _, p := range window.Points {
		words := fmt.Sprintf("%s to %s min", quality.Number(p.MinMinutes, 1), quality.Number(p.MaxMinutes, 1))
		if p.MaxMinutes == 0 {
			words = fmt.Sprintf("at least %s min", quality.Number(p.MinMinutes, 1))
		}
		view.Window = append(view.Window, page.Plain("At "+degrees(site, p.MetalC), words))
	}
	plot, p, err := s.recordedPlot(r, record)
	if err != nil || plot == nil {
		return err
	}
	view.Chart, view.File = plot, fileRef(record.ID, p.File)
	view.Facts = append(view.Facts, page.Plain("Logger file", "SHA-256 "+p.File.Hash()))
	if p.StartedAt != nil {
		view.Facts = append(view.Facts, page.Plain("By the logger's clock", stamp(p.StartedAt.Add(time.Duration(p.FromS*float64(time.Second))), site.Location())))
	}
	return nil
}

func fileRef(record uuid.UUID, f store.LoggerFile) page.Ref {
	return page.Ref{Text: "The logger's file as it came: " + f.Name, Href: "/records/" + record.String() + "/logger-file/" + f.ID.String() + ".csv"}
}
