package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"html/template"
	"net"
	"net/http"
	"strconv"
)

// Latest returns the results as they are now and the id of the seating that
// came last ("" when there is none yet). It is called for each poll, so it
// should answer from memory while nothing has changed.
type Latest func() (r Results, lastID string, err error)

// LiveHandler serves the view at the fixture: "/" shows the last seating's
// verdict in letters to be read from two metres and asks "/state" for news each
// second; "/report" is the whole page. It answers only requests that name the
// loopback address as their host, so that no other site can read it by a
// name of its own; listening on the loopback address alone is the caller's part.
func LiveHandler(latest Latest) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", liveRoot)
	mux.HandleFunc("GET /state", func(w http.ResponseWriter, req *http.Request) { liveNews(w, req, latest) })
	mux.HandleFunc("GET /report", func(w http.ResponseWriter, req *http.Request) {
		r, _, err := latest()
		var b bytes.Buffer
		if err == nil {
			err = WritePage(&b, r)
		}
		if err != nil {
			http.Error(w, err.Error(), http.StatusServiceUnavailable)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
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

// liveState is what "/state" tells: words only, made by the same rules as the
// tables.
type liveState struct {
	Title   string   `json:"title"`
	Seating string   `json:"seating"`
	Word    string   `json:"word"`
	Tone    string   `json:"tone"`
	Do      []string `json:"do"`
	Seal    string   `json:"seal"`
	Detail  []string `json:"detail"` // findings and mends
	Counts  string   `json:"counts"`
	Error   string   `json:"error"`
}

func liveNews(w http.ResponseWriter, req *http.Request, latest Latest) {
	var s liveState
	if r, id, err := latest(); err != nil {
		s.Error = err.Error()
	} else {
		s = stateOf(r, id)
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

// stateOf puts one seating into words, whatever kind it is.
func stateOf(r Results, id string) liveState {
	s := liveState{Title: r.Title, Counts: liveCounts(r), Do: []string{}, Detail: []string{}}
	rec, ok := newIndex(r).recording(id)
	if !ok {
		s.Word, s.Tone, s.Do = "waiting", Plain.class(), []string{"Put a recording in the study's folder."}
		return s
	}
	s.Seating = seatingName(rec)
	for _, f := range rec.Findings {
		line := oneLine(f.Severity.String() + ": " + f.Message)
		if f.Mend != "" {
			line += ". " + oneLine(f.Mend)
		}
		s.Detail = append(s.Detail, line)
	}
	if !rec.Usable {
		s.Word, s.Tone, s.Do = actRefused.word(), actRefused.tone().class(), []string{mendWords(rec)}
		return s
	}
	for _, f := range fixtureSeatings(r) {
		// The drum row of a seating shows the verdict of its blocked row.
		if f.act == actRefused || f.verdict.ID != id && !(rec.OnFixture() && f.model.Model == rec.Model && f.verdict.Seating == rec.Number && rec.Survey == nil) {
			continue
		}
		s.Word, s.Tone = f.act.word(), f.act.tone().class()
		s.Do = []string{moveWords(f.verdict, r.Options)}
		if f.act == actUnsure && len(f.verdict.Settle) > 0 {
			s.Do = f.verdict.Settle
		}
		s.Seal = "Seal: " + leakWords(f.verdict, f.offset)
		return s
	}
	s.Word, s.Tone = "recorded", Good.class()
	for _, o := range r.Analysis.StandOuts {
		if o.ID == id && o.Flagged {
			s.Word, s.Tone = "stands out", Unsure.class()
			s.Do = append(s.Do, o.Ear+" ear, most at "+hertzUnit(o.WorstHz)+" by "+fixed(o.WorstDB, 1)+" dB from its group: "+o.Group)
		}
	}
	return s
}

func liveCounts(r Results) string {
	n := map[action]int{}
	for _, f := range fixtureSeatings(r) {
		n[f.act]++
	}
	return strconv.Itoa(n[actUse]) + " to use, " + strconv.Itoa(n[actMove]+n[actReseal]+n[actMoveReseal]) + " to move or reseal, " +
		strconv.Itoa(n[actUnsure]) + " undetermined, " + strconv.Itoa(n[actRefused]) + " refused"
}

func liveRoot(w http.ResponseWriter, _ *http.Request) {
	css, err := pageFiles.ReadFile("page/live.css")
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	js, err := pageFiles.ReadFile("page/live.js")
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	t, err := pageTemplate("live.html")
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
