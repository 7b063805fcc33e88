package page

import (
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"asworn/report"
	"asworn/report/internal/sample"
)

func TestLiveHandler(t *testing.T) {
	r := sample.Results()
	id := r.Analysis.Models[0].Verdicts[1].ID
	var fail error
	srv := httptest.NewServer(Live{Latest: func() (report.Results, string, error) { return r, id, fail }}.Handler())
	defer srv.Close()
	get := func(path string, change func(*http.Request)) (*http.Response, string) {
		t.Helper()
		req, err := http.NewRequest("GET", srv.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		if change != nil {
			change(req)
		}
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		b, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return res, string(b)
	}
	res, body := get("/state", nil)
	var s liveState
	if err := json.Unmarshal([]byte(body), &s); err != nil || s.Word != "move" {
		t.Fatalf("%v: %s", err, body)
	}
	tag := res.Header.Get("ETag")
	if res, _ := get("/state", func(q *http.Request) { q.Header.Set("If-None-Match", tag) }); res.StatusCode != http.StatusNotModified {
		t.Errorf("nothing new: status %d", res.StatusCode)
	}
	id = r.Analysis.Models[0].Verdicts[0].ID
	if res, body := get("/state", func(q *http.Request) { q.Header.Set("If-None-Match", tag) }); res.StatusCode != 200 || !strings.Contains(body, `"use"`) {
		t.Errorf("a new seating: status %d, %s", res.StatusCode, body)
	}
	if res, _ := get("/", func(q *http.Request) { q.Host = "example.org" }); res.StatusCode != http.StatusForbidden {
		t.Errorf("foreign host: status %d", res.StatusCode)
	}
	if res, body := get("/report", nil); res.StatusCode != 200 || !strings.Contains(body, "<figure") {
		t.Errorf("report: status %d", res.StatusCode)
	}
	fail = errors.New("results.json: no such file; run the study first")
	if _, body := get("/state", nil); !strings.Contains(body, "run the study first") {
		t.Errorf("error not told: %s", body)
	}
}

func TestLoopback(t *testing.T) {
	for host, want := range map[string]bool{"localhost:8080": true, "127.0.0.1": true, "[::1]:80": true, "[::1]": true, "127.0.0.1:9": true, "example.org": false, "192.168.1.4:80": false, "127.0.0.1.example.org": false, "": false} {
		if loopback(host) != want {
			t.Errorf("loopback(%q) = %v", host, !want)
		}
	}
}
