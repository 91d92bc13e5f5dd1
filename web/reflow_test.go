package web

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// overflow names what reaches beyond the glass, data tables in their own scroll box excepted.
const overflow = `(() => {
	if (document.documentElement.scrollWidth <= innerWidth) return '';
	const wide = [...document.querySelectorAll('main *, header *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest('.scroll, .chart, .s-nav, nav'));
	return 'scrolls to ' + document.documentElement.scrollWidth + ' of ' + innerWidth + ' by ' + wide.slice(0, 3).map(e => e.tagName + '.' + e.className).join(', ');
})()`

// signedOn says who is shown as signed on in the part of the page that is on the glass.
const signedOn = `(() => { const e = document.querySelector('.who'); const r = e?.getBoundingClientRect(); return r && r.width > 0 && r.top >= 0 && r.bottom <= innerHeight ? e.innerText : ''; })()`

// reflows tells what of the page on the glass does not fit a phone or a tablet, and where it hides who is signed on.
func (b *tablet) reflows(path, who string) {
	b.t.Helper()
	for _, g := range []glass{{320, 640}, {640, 320}, {800, 1280}, {1280, 800}} {
		b.show(g)
		if wide := b.eval(overflow); wide != "" {
			b.t.Errorf("%s at %s %s", path, g, wide)
		}
		// The data sheets are one page for everybody, which a locked tablet keeps: it names nobody.
		if got := b.eval(signedOn); path != "/sheets" && !strings.Contains(got, who) {
			b.t.Errorf("%s at %s does not show who is signed on, but %q", path, g, got)
		}
	}
}

// focused says what is wrong with the element that has the focus: no outline, off the glass or covered; empty if nothing.
const focused = `(() => {
	const e = document.activeElement;
	if (!e || e === document.body) return '';
	const name = e.tagName + '#' + e.id + '.' + e.className;
	const marked = [e, e.closest('label'), e.querySelector('h2'), e.querySelector('rect'), e.querySelector('path')].filter(Boolean).some(x => {
		const s = getComputedStyle(x);
		return s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2 || x !== e && s.stroke !== 'none' && parseFloat(s.strokeWidth) >= 3;
	});
	if (!marked) return name + ' shows no focus';
	const r = (e.type === 'radio' || e.type === 'checkbox' ? e.closest('label') || e : e).getBoundingClientRect();
	const x = Math.min(Math.max(r.left + r.width / 2, 0), innerWidth - 1), y = Math.min(Math.max(r.top + Math.min(r.height, 60) / 2, 0), innerHeight - 1);
	if (r.bottom <= 0 || r.top >= innerHeight) return name + ' has the focus off the glass';
	const top = document.elementFromPoint(x, y);
	if (!top || !(e.contains(top) || top.contains(e) || top.closest('label')?.contains(e))) return name + ' is covered by ' + (top ? top.tagName + '.' + top.className : 'nothing');
	return '';
})()`

func TestFocusIsVisibleAndUncoveredOnEveryForm(t *testing.T) {
	b, d := newWalk(t)
	racks, err := d.DB.OpenRacks(t.Context(), d.Site.ID)
	if err != nil {
		t.Fatal(err)
	}
	rack := "/racks/" + racks[0].Number
	for _, path := range []string{"/parts/TH-0007/weld", "/parts/TH-0004/film", "/parts/TH-0004/finish", rack + "/pretreatment", rack + "/coating", "/loads/L-00001/cure",
		"/loads/L-00001/cure-test", "/gauges/" + d.Gauge.Code + "/verification", "/bench", "/day?date=2026-11-24", "/setup/people", "/setup/specs"} {
		for _, g := range []glass{{1280, 800}, {800, 1280}} {
			b.show(g)
			b.open(path)
			b.wait("main")
			for stop := 0; stop < 90; stop++ {
				b.do(chromedp.KeyEvent(kb.Tab))
				if wrong := b.eval(focused); wrong != "" {
					t.Errorf("%s at %s: %s", path, g, wrong)
				}
				if b.eval(`document.activeElement.matches('.skip') || document.activeElement === document.body`) == "true" {
					break
				}
			}
		}
	}
}
