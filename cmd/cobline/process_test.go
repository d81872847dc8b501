package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
	"cobline/gateway/boltstore"
)

// size returns how large a test is to be: gate for every change, long for the
// machine that has the time.
func size(gate, long int) int {
	if os.Getenv("COBLINE_SCALE") == "long" {
		return long
	}
	return gate
}

// draw returns a source of chance and logs how to get the same again.
func draw(t testing.TB) *rand.Rand {
	seed := rand.Uint64()
	if s := os.Getenv("COBLINE_SEED"); s != "" {
		var err error
		seed, err = strconv.ParseUint(s, 10, 64)
		require.NoError(t, err)
	}
	t.Logf("COBLINE_SEED=%d", seed)
	return rand.New(rand.NewPCG(seed, 0))
}

// process is the real program serving a store of its own.
type process struct {
	t              testing.TB
	bin, dir, addr string
	config         string
	cmd            *exec.Cmd
	ended          chan error // what Wait returned
	log            bytes.Buffer
	down           sync.RWMutex // held while the program is being started
}

// build builds the program.
func build(t testing.TB) string {
	bin := filepath.Join(t.TempDir(), "cobline")
	out, err := exec.Command("go", "build", "-o", bin, ".").CombinedOutput()
	require.NoError(t, err, string(out))
	return bin
}

// newProcess builds the program and starts it with a configuration.
func newProcess(t testing.TB, config string) *process {
	dir := t.TempDir()
	p := &process{t: t, bin: build(t), dir: filepath.Join(dir, "data"), config: filepath.Join(dir, "cobline.toml")}
	err := os.WriteFile(p.config, []byte(config), 0o600)
	require.NoError(t, err)
	p.addr, err = freeAddress()
	require.NoError(t, err)
	p.start()
	t.Cleanup(func() {
		p.kill()
		if t.Failed() {
			t.Log(p.log.String())
		}
	})
	return p
}

// freeAddress returns a loopback address that nothing listens on. It lies below
// the ports that systems give to clients, so that no client takes it while a
// server is down.
func freeAddress() (string, error) {
	for {
		address := fmt.Sprintf("127.0.0.1:%d", 20_000+rand.IntN(12_000))
		l, err := net.Listen("tcp", address)
		if errors.Is(err, syscall.EADDRINUSE) {
			continue
		}
		if err != nil {
			return "", err
		}
		return address, l.Close()
	}
}

// start starts the program and waits until it answers.
func (p *process) start() {
	p.cmd = exec.Command(p.bin, "serve", "--config", p.config, "--listen", p.addr)
	p.cmd.Env = append(os.Environ(), "COBLINE_STORE_PATH="+p.dir, "LINE="+p.addr)
	p.cmd.Stderr = &p.log
	require.NoError(p.t, p.cmd.Start())
	p.ended = make(chan error, 1)
	go func(cmd *exec.Cmd, ended chan error) { ended <- cmd.Wait(); close(ended) }(p.cmd, p.ended)
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		res, err := http.Get("http://" + p.addr + "/readyz")
		if err == nil {
			res.Body.Close()
			if res.StatusCode == http.StatusOK {
				return
			}
		}
		select {
		case err := <-p.ended:
			p.t.Fatalf("the line ended: %v\n%s", err, p.log.String())
		default:
		}
		if time.Now().After(end) {
			p.t.Fatalf("the line does not answer: %v\n%s", err, p.log.String())
		}
	}
}

// rewrite gives the stopped program another configuration.
func (p *process) rewrite(config string) {
	require.NoError(p.t, os.WriteFile(p.config, []byte(config), 0o600))
}

// kill ends the program as a crash does.
func (p *process) kill() {
	_ = p.cmd.Process.Kill() // it may have ended by itself
	<-p.ended
}

// stop ends the program as an operator does.
func (p *process) stop() {
	require.NoError(p.t, p.cmd.Process.Signal(syscall.SIGTERM))
	require.NoError(p.t, <-p.ended)
}

// journal returns the entries of the stopped program's store.
func (p *process) journal() []gateway.Entry {
	store, err := boltstore.Open(filepath.Join(p.dir, storeFile), boltstore.Options{})
	require.NoError(p.t, err)
	defer func() { require.NoError(p.t, store.Close()) }()
	var all []gateway.Entry
	for {
		var after gateway.Key
		if len(all) > 0 {
			after = all[len(all)-1].Key
		}
		page, err := store.After(p.t.Context(), after, 10_000)
		require.NoError(p.t, err)
		if len(page) == 0 {
			return all
		}
		all = append(all, page...)
	}
}

// text is a message of a simulated phone.
type text struct {
	ID   string    `json:"id"`
	From string    `json:"from"`
	Text string    `json:"text"`
	At   time.Time `json:"at,omitzero"`
}

// errNotTaken says that a message was not acknowledged.
var errNotTaken = errors.New("not acknowledged")

// post sends a message to a channel and returns the answer of a line that
// acknowledged it.
func (p *process) post(client *http.Client, channel string, m text) (string, error) {
	body, err := json.Marshal(m)
	require.NoError(p.t, err)
	res, err := client.Post("http://"+p.addr+"/in/"+channel, "application/json", bytes.NewReader(body))
	if err != nil {
		return "", errNotTaken
	}
	defer res.Body.Close()
	answer, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK {
		return "", errNotTaken
	}
	return string(answer), nil
}

// killPoints draws n numbers of acknowledged messages out of most, in order.
func killPoints(r *rand.Rand, n, most int) []int {
	points := r.Perm(most)[:n]
	slices.Sort(points)
	return points
}

// crashes kills and restarts the program whenever the events so far reach the
// next point, until all points are used or there are no more events. It returns
// the kills.
func (p *process) crashes(points []int, events <-chan struct{}) int {
	count, kills := 0, 0
	for kills < len(points) {
		select {
		case _, more := <-events:
			if !more {
				return kills
			}
		case <-time.After(2 * time.Minute):
			return kills
		}
		count++
		for kills < len(points) && count > points[kills] {
			p.kill()
			p.down.Lock()
			p.start()
			p.down.Unlock()
			kills++
		}
	}
	return kills
}

// wait lets a moment pass, and then the start of the program if there is one.
func (p *process) wait() {
	time.Sleep(5 * time.Millisecond)
	p.down.RLock()
	defer p.down.RUnlock()
}

func phoneNumber(i int) string { return fmt.Sprintf("+2547%08d", i) }
