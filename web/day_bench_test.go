package web

import (
	"net/http"
	"net/http/httptest"
	"testing"
)

func BenchmarkDayPage(b *testing.B) {
	d := newDesk(b)
	d.steadyFilm(40)
	h := d.handler()
	for b.Loop() {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/day", nil))
		if w.Code != http.StatusOK {
			b.Fatal(w.Code)
		}
	}
}
