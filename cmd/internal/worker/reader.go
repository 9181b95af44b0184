package worker

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"sync/atomic"
	"time"

	"stripgap/cmd/internal/pipeline"
)

// reader is one process that reads.
type reader struct {
	cmd   *exec.Cmd
	tasks io.WriteCloser
	reply *os.File
	from  *json.Decoder
	said  *tail         // its last words
	ended chan struct{} // closed when the process is gone
}

// start starts a reader. Answers come through a pipe of their own: what a library
// prints cannot get among them.
func start(cmd *exec.Cmd) (*reader, error) {
	if IsReader() {
		return nil, errors.New("a reader starts no readers")
	}
	reply, answers, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	defer answers.Close()
	r := &reader{cmd: cmd, reply: reply, from: json.NewDecoder(reply), said: &tail{}, ended: make(chan struct{})}
	cmd.ExtraFiles = []*os.File{answers}
	cmd.Stderr = r.said
	// Each reader works on one photo: more threads would only take turns. OpenBLAS,
	// where it is what OpenCV loads, keeps its threads spinning from the start.
	cmd.Env = append(cmd.Environ(), "OPENCV_FOR_THREADS_NUM=1", "OPENBLAS_NUM_THREADS=1", readerEnv+"=1")
	if r.tasks, err = cmd.StdinPipe(); err == nil {
		err = cmd.Start()
	}
	if err != nil {
		reply.Close()
		return nil, err
	}
	go func() {
		cmd.Wait()
		close(r.ended)
	}()
	return r, nil
}

// readerEnv marks a process as a reader. Whatever program was started in a reader's
// place, a test for one, then starts none in its turn.
const readerEnv = "STRIPGAP_READER"

// IsReader reports whether this process was started as a reader.
func IsReader() bool { return os.Getenv(readerEnv) != "" }

// read has one task read; ok is false when the reader is of no further use. begun
// is false when it was of none before: it never took the task.
func (r *reader) read(g pipeline.Given, t pipeline.Task, timeout time.Duration) (e pipeline.Entry, begun, ok bool) {
	var late atomic.Bool
	watch := time.AfterFunc(timeout, func() {
		late.Store(true)
		r.cmd.Process.Kill()
	})
	var a answer
	err := json.NewEncoder(r.tasks).Encode(newOrder(g, t))
	if err == nil {
		err = r.from.Decode(&taken{})
	}
	begun = err == nil
	if begun {
		err = r.from.Decode(&a)
	}
	watch.Stop()
	if err == nil {
		return a.entry(), true, true
	}
	r.cmd.Process.Kill()
	r.end()
	if late.Load() {
		return lost(t, CodeTooSlow, fmt.Sprintf("the photo took longer than %v to read", timeout),
			"take the photo at the camera's normal size and read it again; close other programs if the computer is busy"), true, false
	}
	why := r.cmd.ProcessState.String()
	if words := r.said.firstLine(); words != "" {
		why += ": " + words
	}
	return lost(t, CodeCrashed, "the program's reader broke down on this photo ("+why+")",
		"read it again; if it happens again, take a new photo, and please report this with the old one"), begun, false
}

// end closes the reader's input, at which it leaves, and waits until it has.
func (r *reader) end() {
	r.tasks.Close()
	<-r.ended
	r.reply.Close()
}
