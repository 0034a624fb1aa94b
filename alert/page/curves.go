package page

import (
	"bytes"
	"io"
	"net/http"
	"net/url"
	"time"

	"spile/alert/page/chart"
)

// chartPolicy is what a drawing may do where a browser opens it by itself: be styled by its own attributes, as the
// library writes them, and nothing else.
const chartPolicy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; frame-ancestors 'none'"

// curveParameters are the parameters of a drawing.
var curveParameters = []string{"range", "until", "size", "scheme"}

// curvesSVG draws a tank's curves for its page.
func (s *Server) curvesSVG(w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Content-Security-Policy", chartPolicy)
	return s.curves(w, r, "image/svg+xml", chart.Chart.SVG)
}

// curvesPNG draws them for a message.
func (s *Server) curvesPNG(w http.ResponseWriter, r *http.Request) error {
	return s.curves(w, r, pngType, chart.Chart.PNG)
}

const pngType = "image/png"

// write writes a chart in a format.
type write func(chart.Chart, io.Writer, chart.Size, chart.Palette) error

func (s *Server) curves(w http.ResponseWriter, r *http.Request, kind string, write write) error {
	values, err := parameters(r.URL.RawQuery, curveParameters)
	if err != nil {
		return err
	}
	size, colors, err := look(values)
	if err != nil {
		return err
	}
	chosen, err := stretchOf(values["range"])
	if err != nil {
		return err
	}
	until, err := moment("until", values["until"])
	if err != nil {
		return err
	}
	if now := s.Clock(); until.IsZero() || until.After(now) {
		until = now
	}
	d, err := s.drawn(r.Context(), r.PathValue("tank"), chosen, until)
	if err != nil {
		return err
	}
	var picture bytes.Buffer
	if err := write(s.chart(d), &picture, size, colors); err != nil {
		return err
	}
	w.Header().Set("Content-Type", kind)
	s.deliver(w, r, http.StatusOK, picture.Bytes())
	return nil
}

// look reads for what screen a drawing is: a phone held upright in daylight where nothing is said.
func look(values map[string]string) (chart.Size, chart.Palette, error) {
	size, colors := chart.Narrow, chart.Light
	switch values["size"] {
	case "", "narrow":
	case "wide":
		size = chart.Wide
	default:
		return size, colors, bad("size=%q: write narrow or wide", values["size"])
	}
	switch values["scheme"] {
	case "", "light":
	case "dark":
		colors = chart.Dark
	default:
		return size, colors, bad("scheme=%q: write light or dark", values["scheme"])
	}
	return size, colors, nil
}

// figure is the curves as the tank's page holds them: one drawing for each kind of screen, of which a browser fetches
// the one that fits.
type figure struct {
	Stretch stretch
	Choices []stretch
	Tank    string
	Until   time.Time
	From    time.Time
	Words   string // what they show
	Empty   bool
}

// figureOf reads what the page shows of a tank's curves.
func (s *Server) figureOf(r *http.Request, tank string) (figure, error) {
	chosen, err := stretchOf(r.URL.Query().Get("range"))
	if err != nil {
		return figure{}, err
	}
	until := s.Clock().Truncate(time.Minute) // a drawing stays the same for a minute, so that a page does not flicker
	d, err := s.drawn(r.Context(), tank, chosen, until)
	if err != nil {
		return figure{}, err
	}
	s.ahead.begin(tank)
	return figure{
		Stretch: chosen, Choices: stretches, Tank: tank, From: d.From, Until: until, Words: s.said(d), Empty: len(d.traces) == 0,
	}, nil
}

// Source is the address of the drawing for one kind of screen.
func (f figure) Source(size, scheme string) string {
	query := url.Values{
		"range": {f.Stretch.Name}, "until": {f.Until.UTC().Format(time.RFC3339)}, "size": {size}, "scheme": {scheme},
	}
	return "/tanks/" + url.PathEscape(f.Tank) + "/curves.svg?" + query.Encode()
}
