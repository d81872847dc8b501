//go:build peers

package main

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// peers holds the configurations and scripts of other software.
const peers = "../../testdata/peers"

// peer is a program of others, running beside the line.
type peer struct {
	t     *testing.T
	cmd   *exec.Cmd
	ended chan struct{}
}

// startPeer starts a program in a directory. It has a process group of its own,
// which must be empty after the test.
func startPeer(t *testing.T, dir string, env []string, name string, args ...string) *peer {
	p := &peer{t: t, cmd: exec.Command(name, args...), ended: make(chan struct{})}
	p.cmd.Dir, p.cmd.Env = dir, append(os.Environ(), env...)
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	log, err := os.CreateTemp(dir, filepath.Base(name)+"-*.out")
	require.NoError(t, err)
	p.cmd.Stdout, p.cmd.Stderr = log, log
	require.NoError(t, p.cmd.Start())
	go func() {
		defer close(p.ended)
		_ = p.cmd.Wait() // it is told to end, and says so each in its way
	}()
	t.Cleanup(func() {
		p.stop()
		require.NoError(t, log.Close())
		if t.Failed() {
			text, err := os.ReadFile(log.Name())
			require.NoError(t, err)
			t.Logf("%s:\n%s", name, text)
		}
	})
	return p
}

// running reports whether the program has not ended.
func (p *peer) running() bool {
	select {
	case <-p.ended:
		return false
	default:
		return true
	}
}

// stop ends the program as an operator does, first with good manners, and wants
// nothing of it left.
func (p *peer) stop() { p.signal(syscall.SIGTERM) }

// kill ends the program as a crash does.
func (p *peer) kill() { p.signal(syscall.SIGKILL) }

func (p *peer) signal(how syscall.Signal) {
	if p.running() {
		require.NoError(p.t, p.cmd.Process.Signal(how))
	}
	select {
	case <-p.ended:
	case <-time.After(10 * time.Second):
		// How long others take to end is theirs: a bearerbox that a throttled
		// channel has just broken away from now and then never does.
		_ = p.cmd.Process.Kill()
		<-p.ended
	}
	err := syscall.Kill(-p.cmd.Process.Pid, syscall.SIGKILL)
	require.ErrorIs(p.t, err, syscall.ESRCH, "%s has left processes behind", p.cmd.Path)
}

// eventually waits for what others will do in their own time.
func eventually(t require.TestingT, what string, done func() bool) {
	for end := time.Now().Add(30 * time.Second); !done(); time.Sleep(10 * time.Millisecond) {
		require.True(t, time.Now().Before(end), "still waiting for: %s", what)
	}
}

// listens reports whether something takes connections at an address.
func listens(address string) bool {
	c, err := net.DialTimeout("tcp", address, time.Second)
	return err == nil && c.Close() == nil
}

// fill returns the text of a file with a value for each $NAME.
func fill(t *testing.T, file string, values map[string]string) string {
	text, err := os.ReadFile(filepath.Join(peers, file))
	require.NoError(t, err)
	return os.Expand(string(text), func(name string) string {
		require.Contains(t, values, name, file)
		return values[name]
	})
}

// freePort returns a port of the loopback that nothing listens on.
func freePort(t *testing.T) string {
	address, err := freeAddress()
	require.NoError(t, err)
	_, port, err := net.SplitHostPort(address)
	require.NoError(t, err)
	return port
}

// npm installs packages into a directory, without running what they bring along.
func npm(t *testing.T, dir string, packages ...string) {
	cmd := exec.Command("npm", append([]string{"install", "--silent", "--no-audit", "--no-fund", "--ignore-scripts"}, packages...)...)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
}
