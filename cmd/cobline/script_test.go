package main

import (
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"cobline": main})
}

// TestScripts runs the sessions of testdata/cli. Each finds a free address in
// $ADDR for a line of its own.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                "../../testdata/cli",
		RequireUniqueNames: true,
		Setup: func(e *testscript.Env) error {
			address, err := freeAddress()
			e.Setenv("ADDR", address)
			return err
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){"http": scriptHTTP},
	})
}

// scriptHTTP is the command
//
//	http STATUS METHOD PATH [FILE [HEADER...]]
//
// It sends the file's content to the line at $ADDR, which it waits for, and
// wants the status. The answer becomes the script's stdout.
func scriptHTTP(ts *testscript.TestScript, _ bool, args []string) {
	if len(args) < 3 {
		ts.Fatalf("usage: http status method path [file [header...]]")
	}
	var body string
	if len(args) > 3 {
		body = ts.ReadFile(args[3])
	}
	var res *http.Response
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		req, err := http.NewRequest(args[1], "http://"+ts.Getenv("ADDR")+args[2], strings.NewReader(body))
		ts.Check(err)
		req.Header.Set("Content-Type", "application/json")
		for _, h := range args[min(4, len(args)):] {
			name, v, _ := strings.Cut(h, ":")
			req.Header.Set(name, strings.TrimSpace(v))
		}
		if res, err = http.DefaultClient.Do(req); err == nil {
			break
		}
		if time.Now().After(end) {
			ts.Fatalf("no answer: %v", err)
		}
	}
	defer res.Body.Close()
	answer, err := io.ReadAll(res.Body)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs("answer"), answer, 0o600))
	if got := fmt.Sprint(res.StatusCode); got != args[0] {
		ts.Fatalf("status %s instead of %s: %s", got, args[0], answer)
	}
}
