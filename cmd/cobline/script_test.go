package main

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"cobline": main})
}

// TestScripts runs the sessions of testdata/cli. Each finds a free address in
// $ADDR for a line of its own, and in $NOON a zone in which it is noon, for what
// waits by night. At the small size it runs those in which commands
// speak to a line that serves: the race detector finds nothing in one that is
// alone, and makes each take seconds to begin.
func TestScripts(t *testing.T) {
	params := testscript.Params{
		Dir:                "../../testdata/cli",
		RequireUniqueNames: true,
		Setup: func(e *testscript.Env) error {
			address, err := freeAddress()
			e.Setenv("ADDR", address)
			e.Setenv("NOON", noon(time.Now()))
			return err
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){"http": scriptHTTP, "metric": scriptMetric, "svg": scriptSVG},
	}
	if os.Getenv("COBLINE_SCALE") == "small" {
		for _, name := range []string{"forecast", "notice", "officer-phone", "serve"} {
			params.Files = append(params.Files, filepath.Join(params.Dir, name+".txtar"))
		}
		params.Dir = ""
	}
	testscript.Run(t, params)
}

// noon returns the zone whose clocks show between 12:00 and 13:00. In its name
// the sign is that of POSIX: hours behind UTC are positive.
func noon(now time.Time) string {
	return fmt.Sprintf("Etc/GMT%+d", now.UTC().Hour()-12)
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

// scriptMetric is the command
//
//	metric PATTERN
//
// It waits until a line of the line's metrics matches the regular expression.
func scriptMetric(ts *testscript.TestScript, _ bool, args []string) {
	if len(args) != 1 {
		ts.Fatalf("usage: metric pattern")
	}
	pattern, err := regexp.Compile("(?m)^" + args[0] + "$")
	ts.Check(err)
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		scriptHTTP(ts, false, []string{"200", "GET", "/metrics"})
		page := ts.ReadFile("answer")
		if pattern.MatchString(page) {
			return
		}
		if time.Now().After(end) {
			ts.Fatalf("no metric matches %s:\n%s", args[0], page)
		}
	}
}

// scriptSVG is the command
//
//	svg FILE LABEL...
//
// It reads the file as a picture and wants its texts to be the labels among
// others.
func scriptSVG(ts *testscript.TestScript, _ bool, args []string) {
	if len(args) < 2 {
		ts.Fatalf("usage: svg file label...")
	}
	var texts []string
	d := xml.NewDecoder(strings.NewReader(ts.ReadFile(args[0])))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		ts.Check(err)
		if start, ok := token.(xml.StartElement); ok && start.Name.Local == "text" {
			var text string
			ts.Check(d.DecodeElement(&text, &start))
			texts = append(texts, text)
		}
	}
	for _, label := range args[1:] {
		if !slices.Contains(texts, label) {
			ts.Fatalf("%s holds %q, not %q", args[0], texts, label)
		}
	}
}
