package page

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"html/template"
	"net"
	"net/http"

	"asworn/report"
	"asworn/report/view"
)

// Latest returns the results as they are now and the id of the seating that
// came last ("" when there is none yet). It is called for each poll, so it
// should answer from memory while nothing has changed.
type Latest func() (r report.Results, lastID string, err error)

// Handler serves the view at the fixture: "/" shows the last seating's
// verdict in letters to be read from two metres and asks "/state" for news
// twice a second; "/report" is the whole page. It answers only requests that name the
// loopback address as their host, so that no other site can read it by a
// name of its own; listening on the loopback address alone is the caller's part.
// Where it can be asked for something, by "POST /act", it refuses requests that come
// from other sites.
func (l Live) Handler() http.Handler {
	latest := l.Latest
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", liveRoot)
	mux.HandleFunc("GET /state", l.news)
	mux.Handle("POST /act", http.NewCrossOriginProtection().Handler(http.HandlerFunc(l.act)))
	mux.HandleFunc("GET /report", func(w http.ResponseWriter, req *http.Request) {
		r, _, err := latest()
		var b bytes.Buffer
		if err == nil {
			err = write(&b, view.New(r), false)
		}
		if err != nil {
			http.Error(w, err.Error(), http.StatusServiceUnavailable)
			return
		}
		_, js, err := pageAssets()
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Security-Policy", policy(js)+"; frame-ancestors 'none'")
		_, _ = w.Write(b.Bytes()) // the browser has gone: nothing to tell it
	})
	return http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		if !loopback(req.Host) {
			http.Error(w, "this view answers on the loopback address only", http.StatusForbidden)
			return
		}
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Cache-Control", "no-store")
		mux.ServeHTTP(w, req)
	})
}

func loopback(host string) bool {
	name, _, err := net.SplitHostPort(host)
	if err != nil {
		name = host
	}
	if name == "localhost" {
		return true
	}
	if len(name) > 2 && name[0] == '[' {
		name = name[1 : len(name)-1]
	}
	ip := net.ParseIP(name)
	return ip != nil && ip.IsLoopback()
}

// liveState is what "/state" tells: words only.
type liveState struct {
	view.State
	Tone  string `json:"tone"`
	Error string `json:"error"`
	Desk  Desk   `json:"desk"`
}

func (l Live) news(w http.ResponseWriter, req *http.Request) {
	var s liveState
	if l.Desk != nil {
		s.Desk = l.Desk()
	}
	if l.Act != nil {
		s.Title = "asworn" // the session says the rest
	} else if r, id, err := l.Latest(); err != nil {
		s.Error = err.Error()
	} else {
		s.State = view.New(r).State(id)
		s.Tone = s.State.Tone.String()
	}
	b, err := json.Marshal(s)
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	sum := sha256.Sum256(b)
	tag := `"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`
	w.Header().Set("ETag", tag)
	if req.Header.Get("If-None-Match") == tag {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(b) // the browser has gone: nothing to tell it
}

func liveRoot(w http.ResponseWriter, _ *http.Request) {
	css, err := assets.ReadFile("live.css")
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	js, err := assets.ReadFile("live.js")
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	t, err := pageTemplate("live.html", links{})
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", policy(string(js))+"; connect-src 'self'; frame-ancestors 'none'")
	_ = t.Execute(w, struct { // the browser has gone: nothing to tell it
		CSS template.CSS
		JS  template.JS
	}{template.CSS(css), template.JS(js)})
}

// Live is a live view: what it shows, and what it can be asked for.
type Live struct {
	Latest Latest
	Desk   func() Desk                       // nil for none
	Act    func(do Deed, words string) error // nil when nothing is driven from here; a Deed may be one that no button has
}

// act takes what the operator asks for. The handler about it refuses other
// sites.
func (l Live) act(w http.ResponseWriter, req *http.Request) {
	if l.Act == nil {
		http.Error(w, "nothing is recorded from this page", http.StatusNotFound)
		return
	}
	var ask struct {
		Do    Deed
		Words string
	}
	err := json.NewDecoder(http.MaxBytesReader(w, req.Body, 1<<12)).Decode(&ask)
	if err == nil && req.Header.Get("Content-Type") != "application/json" {
		err = errors.New("want application/json")
	}
	if err == nil {
		err = l.Act(ask.Do, ask.Words)
	}
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}
