package webhook

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"time"

	"cobline/gateway"
)

// arguments returns a command with its arguments, and its input. A text is one
// argument whatever it holds: no shell reads it.
func (s *sender) arguments(data sent) (args []string, input []byte, err error) {
	for _, t := range s.command {
		arg, err := t.text(data)
		if err != nil {
			return nil, nil, err
		}
		args = append(args, strings.ReplaceAll(arg, "\x00", "")) // no argument can hold it
	}
	input, err = s.body.body(data, s.kind)
	return args, input, err
}

// run hands a message to a program.
func (s *sender) run(ctx context.Context, data sent) (string, error) {
	args, input, err := s.arguments(data)
	if err != nil {
		return "", errUnfit
	}
	if s.dry {
		return "", nil
	}
	var out limited
	cmd := exec.CommandContext(ctx, args[0], args[1:]...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(input), &out, &out
	// The program gets what it needs to find its own configuration, not the
	// secrets of the line.
	for _, name := range []string{"PATH", "HOME", "TZ"} {
		cmd.Env = append(cmd.Env, name+"="+os.Getenv(name))
	}
	cmd.Env = append(cmd.Env, "LC_ALL=C.UTF-8")
	cmd.WaitDelay = time.Second // for what a program that was ended leaves behind
	err = cmd.Run()             // what became of it stands in cmd.ProcessState
	switch {
	case cmd.ProcessState == nil:
		return "", gateway.Blocked{Reason: fmt.Sprintf("the command cannot be run: %v", err)}
	case !cmd.ProcessState.Exited():
		return "", fmt.Errorf("%w: the command was ended before it was done", gateway.ErrUnsure)
	}
	return s.judge.of(result{status: cmd.ProcessState.ExitCode(), body: out.kept, cut: out.cut, sent: data})
}

// limited keeps the beginning of what is written to it.
type limited struct {
	kept []byte
	cut  bool
}

func (l *limited) Write(p []byte) (int, error) {
	room := maxAnswer - len(l.kept)
	l.cut = l.cut || len(p) > room
	l.kept = append(l.kept, p[:min(room, len(p))]...)
	return len(p), nil
}
