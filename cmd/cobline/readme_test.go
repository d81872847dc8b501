package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
)

// fence matches a block of code in a page, with its language.
var fence = regexp.MustCompile("(?ms)^```([a-z]+)\n(.*?)^```$")

// connected returns the examples of the README's section on gateways, by
// language.
func connected(t *testing.T) map[string][]string {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	_, section, found := strings.Cut(string(readme), "## Connect your gateway\n")
	require.True(t, found)
	section, _, _ = strings.Cut(section, "\n## ")
	blocks := map[string][]string{}
	for _, m := range fence.FindAllStringSubmatch(section, -1) {
		blocks[m[1]] = append(blocks[m[1]], m[2])
	}
	return blocks
}

// exampleSecret is the value of every $NAME in the examples.
const exampleSecret = "0123456789abcdef"

// setSecrets sets what a configuration takes from the environment.
func setSecrets(t *testing.T, config string) {
	for _, name := range reference.FindAllString(config, -1) {
		t.Setenv(name[1:], exampleSecret)
	}
}

// command runs the command line in this process.
func command(t *testing.T, args ...string) (stdout, stderr string, code int) {
	var out, errors strings.Builder
	code = run(args, strings.NewReader(""), &out, &errors)
	return out.String(), errors.String(), code
}

// The README's examples are those that `cobline check` shows. Each is good, also
// for a line that everybody reaches, and does with its request what the README
// says.
func TestReadmeExamples(t *testing.T) {
	blocks := connected(t)
	for i, c := range []struct {
		name, example string
		want          []string
	}{
		{"sms-a", "answer", []string{`text "cobs 2 drums snaps"`, "I am Cobline, a machine"}},
		{"sms-b", "send", []string{`text "cobs 2 drums snaps"`, "sent at 2026-03-02T09:00:00Z", "channel sms-b would send", "POST /messages HTTP/1.1", "I am Cobline, a machine"}},
		{"dial-a", "session", []string{`text ""`, "more I am Cobline"}},
		{"modem", "modem", []string{"channel modem would send", "gammu-smsd-inject\n  TEXT\n  +254700000001\n"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			block := blocks["toml"][i]
			embedded, err := examples.ReadFile("examples/" + c.example + ".toml")
			require.NoError(t, err)
			require.Equal(t, string(embedded), block)
			config := filepath.Join(t.TempDir(), "cobline.toml")
			require.NoError(t, os.WriteFile(config, []byte("listen = \":8080\"\n"+block), 0o600))
			setSecrets(t, block)
			stdout, stderr, code := command(t, "check", "--config", config)
			require.Equal(t, 0, code, stderr)
			require.Contains(t, stdout, "# ready")

			args := []string{"channel", "try", c.name, "--config", config, "--at", "2026-03-02T09:00:30Z"}
			if i < len(blocks["http"]) {
				sample := filepath.Join(t.TempDir(), "sample.http")
				require.NoError(t, os.WriteFile(sample, []byte(blocks["http"][i]), 0o600))
				args = append(args, "--sample", sample)
			}
			stdout, stderr, code = command(t, args...)
			require.Equal(t, 0, code, stderr)
			for _, want := range c.want {
				require.Contains(t, stdout, want)
			}
			require.NotContains(t, stdout, exampleSecret)
		})
	}
	require.Len(t, blocks["toml"], 4)
	require.Len(t, blocks["http"], 3)
}

// The script for a modem brings a message when the line is back, and the reply
// leaves by the daemon's program with the text as one argument.
func TestReadmeModem(t *testing.T) {
	blocks := connected(t)
	require.Len(t, blocks["sh"], 1)
	bin := t.TempDir()
	sent := filepath.Join(bin, "sent")
	script := "#!/bin/sh\nprintf '%s\\n' \"$#\" \"$2\" \"$6\" >> '" + sent + "'\n"
	require.NoError(t, os.WriteFile(filepath.Join(bin, "gammu-smsd-inject"), []byte(script), 0o700))
	t.Setenv("PATH", bin+":"+os.Getenv("PATH"))
	setSecrets(t, blocks["toml"][3])
	p := newProcess(t, strings.Replace(blocks["toml"][3], "per_second = 0.2", "per_second = 20", 1))
	p.kill() // the line is down while the message comes

	hook := exec.Command("sh", "-c", strings.NewReplacer("127.0.0.1:8080", p.addr, "sleep 5", "sleep 0.1").Replace(blocks["sh"][0]), "receive.sh", "IN20260302_090030_00_+254700000001_00.txt")
	hook.Env = append(os.Environ(), "SMS_MESSAGES=2", "SMS_1_NUMBER=+254700000001", "SMS_1_TEXT=cobs 2 dr", "DECODED_1_TEXT=cobs 2 drums snaps & it's dry")
	require.NoError(t, hook.Start())
	time.Sleep(300 * time.Millisecond)
	p.start()
	require.NoError(t, hook.Wait())
	var lines []string
	require.Eventually(t, func() bool {
		text, err := os.ReadFile(sent)
		lines = strings.Split(string(text), "\n")
		return err == nil && len(lines) > 3
	}, 20*time.Second, 20*time.Millisecond)
	require.Equal(t, []string{"6", "+254700000001"}, lines[:2])
	require.Contains(t, lines[2], "I am Cobline, a machine")
	p.stop()
	require.Equal(t, gateway.Heard, p.journal()[0].Kind)
	require.Equal(t, "cobs 2 drums snaps & it's dry", p.journal()[0].Text)

	empty := exec.Command("sh", "-c", blocks["sh"][0])
	empty.Env = append(os.Environ(), "SMS_1_TEXT=a network's notice")
	require.NoError(t, empty.Run(), "what has no number is not brought")
}

// TestReadmePictures: each picture that the README shows is there, small enough
// for a slow link, with words for those who do not see it; no other is kept.
func TestReadmePictures(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	shown := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?:!\[([^\]]*)\]\(|<img src=")(testdata/pictures/[a-z-]+\.png)(?:"[^>]* alt="([^"]+)")?`).FindAllStringSubmatch(string(readme), -1) {
		require.NotEmpty(t, m[1]+m[3], "%s has no words", m[2])
		shown[m[2]] = true
		info, err := os.Stat("../../" + m[2])
		require.NoError(t, err)
		require.Less(t, info.Size(), int64(120_000), m[2])
	}
	require.Equal(t, strings.Count(string(readme), "testdata/pictures/"), len(shown), "each in a form that is looked at here")
	kept, err := filepath.Glob("../../testdata/pictures/*")
	require.NoError(t, err)
	for _, path := range kept {
		require.True(t, shown[strings.TrimPrefix(path, "../../")], "%s is not shown", path)
	}
	require.NotEmpty(t, kept)
}
