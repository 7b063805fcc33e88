package main

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"asworn/cmd/internal/console"
	"asworn/cmd/internal/simulate/demo"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"asworn": func() { os.Exit(start()) },
	})
}

// TestScripts runs testdata/script/*.txtar, each in its own folder. Beside the
// usual commands they may use
//
//	code N asworn ...      run and want exit code N
//	wav NAME KEY=VALUE...  write a WAV file, see writeTestWAV
//	truncate FILE BYTES    keep the first bytes of a file only
//	sums DIR FILE          write the SHA-256 of every WAV file under DIR to FILE
//	json FILE              want one valid JSON value
//	link SRC DST MODEL...  make a study out of a shared one
//	interrupt DIR N        interrupt a run after N responses
//	edit FILE OLD NEW      replace text that must be there once
//	replace FILE BY        put a copy of BY in the place of FILE
func TestScripts(t *testing.T) {
	// One small demo study for all scripts that need one, and a part of it that has been
	// run; they link them.
	dir := filepath.Join(t.TempDir(), "demo")
	if _, err := demo.Write(t.Context(), dir, demo.Options{Listeners: 3, Seatings: 2, SurveySize: 5}); err != nil {
		t.Fatal(err)
	}
	ran := filepath.Join(t.TempDir(), "study")
	if err := linked(dir, ran, "Model A"); err != nil {
		t.Fatal(err)
	}
	var stdout, stderr bytes.Buffer
	if code := execute(t.Context(), []string{"run", ran}, &stdout, &stderr); code != console.Operator {
		t.Fatalf("run: code %d", code)
	}
	for name, said := range map[string]*bytes.Buffer{"first.txt": &stdout, "first-err.txt": &stderr} {
		if err := os.WriteFile(filepath.Join(ran, name), bytes.ReplaceAll(said.Bytes(), []byte(ran), []byte("study")), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	testscript.Run(t, testscript.Params{
		Dir: filepath.Join("testdata", "script"),
		Setup: func(env *testscript.Env) error {
			env.Setenv("DEMO", dir)
			env.Setenv("RAN", ran) // Model A of it, with the results of a run, and what that said
			env.Setenv("NO_COLOR", "")
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"code":        wantCode,
			"wav":         writeTestWAV,
			"truncate":    truncate,
			"sums":        sums,
			"json":        wantJSON,
			"link":        linkStudy,
			"interrupt":   interrupt,
			"edit":        edit,
			"replace":     replace,
			"twofixtures": twoFixtures,
		},
	})
}

func wantCode(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: code N command [arguments]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	got := 0
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		got = exit.ExitCode()
	case err != nil:
		ts.Fatalf("%v", err)
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d", got, want)
	}
}
