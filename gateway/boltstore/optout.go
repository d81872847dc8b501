package boltstore

import (
	"bufio"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"sync"
)

// optOuts is who opted out, in a file of its own that is only appended to and
// that a copy of the store does not turn back: an old copy put in place of the
// store must not write to people who have said STOP since. A line says stop or
// start and the keyed hash of a number; the last line of a number holds. The key
// has its own file, so that the list alone tells nobody's number.
type optOuts struct {
	key    []byte
	file   *os.File
	noSync bool

	mu   sync.RWMutex
	said map[disguise]bool // whether the last line says stop
}

// disguise is the keyed hash of a number.
type disguise [16]byte

const wordStop, wordStart = "stop", "start"

func openOptOuts(path string, noSync bool) (o *optOuts, err error) {
	o = &optOuts{noSync: noSync, said: map[disguise]bool{}}
	if o.key, err = readKey(path + ".key"); err != nil {
		return nil, err
	}
	if o.file, err = os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600); err != nil {
		return nil, err
	}
	if err := o.read(); err != nil {
		return nil, errors.Join(fmt.Errorf("read %s: %w", path, err), o.file.Close())
	}
	return o, nil
}

// readKey reads the key, or makes one.
func readKey(path string) ([]byte, error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		key := make([]byte, sha256.Size)
		rand.Read(key)
		return key, writeWhole(path, []byte(hex.EncodeToString(key)+"\n"))
	}
	if err != nil {
		return nil, err
	}
	key, err := hex.DecodeString(strings.TrimSpace(string(b)))
	if err != nil || len(key) != sha256.Size {
		return nil, fmt.Errorf("%s is not a key", path)
	}
	return key, nil
}

// writeWhole writes a file that is whole or not there.
func writeWhole(path string, b []byte) error {
	f, err := os.OpenFile(path+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(path+".new", path)
}

// read takes in the lines. What a crash has left of the last one is cut off: its
// turn was never acknowledged.
func (o *optOuts) read() error {
	r := bufio.NewReader(o.file)
	var end int64
	for number := 1; ; number++ {
		line, err := r.ReadString('\n')
		if errors.Is(err, io.EOF) {
			_, err = o.file.Seek(end, io.SeekStart)
			return errors.Join(o.file.Truncate(end), err)
		}
		if err != nil {
			return err
		}
		end += int64(len(line))
		word, hash, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
		b, err := hex.DecodeString(hash)
		if err != nil || len(b) != len(disguise{}) || word != wordStop && word != wordStart {
			return fmt.Errorf("line %d is not an opt-out", number)
		}
		o.said[disguise(b)] = word == wordStop
	}
}

// hide returns the keyed hash of a number.
func (o *optOuts) hide(number []byte) disguise {
	h := hmac.New(sha256.New, o.key)
	h.Write(number)
	return disguise(h.Sum(nil)[:len(disguise{})])
}

// holds reports whether a number opted out; stored is what the store says, which
// counts if the file says nothing.
func (o *optOuts) holds(number []byte, stored bool) bool {
	d := o.hide(number)
	o.mu.RLock()
	defer o.mu.RUnlock()
	if stopped, ok := o.said[d]; ok {
		return stopped
	}
	return stored
}

// any reports whether the file says anything.
func (o *optOuts) any() bool { return len(o.said) > 0 }

// note adds a line to what a batch of writes has to say, if it is news.
func (o *optOuts) note(w *write, number []byte, stopped bool) {
	d := o.hide(number)
	was, ok := w.optOuts[d]
	if !ok {
		o.mu.RLock()
		was = o.said[d]
		o.mu.RUnlock()
	}
	if was == stopped {
		return
	}
	if w.optOuts == nil {
		w.optOuts = map[disguise]bool{}
	}
	w.optOuts[d] = stopped
}

// append makes lines durable. They come before the turns they belong to: a crash
// between the two leaves a person who is asked once more, and nobody who is
// written to against their word.
func (o *optOuts) append(news map[disguise]bool) error {
	if len(news) == 0 {
		return nil
	}
	var lines strings.Builder
	for d, stopped := range news {
		word := wordStart
		if stopped {
			word = wordStop
		}
		fmt.Fprintf(&lines, "%s %x\n", word, d)
	}
	if _, err := o.file.WriteString(lines.String()); err != nil {
		return fmt.Errorf("write opt-outs: %w", err)
	}
	if !o.noSync {
		if err := o.file.Sync(); err != nil {
			return fmt.Errorf("flush opt-outs: %w", err)
		}
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	for d, stopped := range news {
		o.said[d] = stopped
	}
	return nil
}
