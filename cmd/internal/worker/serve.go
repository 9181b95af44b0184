package worker

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"stripgap/cmd/internal/pipeline"
)

// MemoryLimit bounds what one reader may take, in bytes: two photos of 100
// megapixels and what is made of them fit.
const MemoryLimit = 3 << 30

// answersFD is the file that start hands over for the answers.
const answersFD = 3

// Serve is the life of a reader: it reads tasks from in until that ends, says of each
// that it has it, and answers it, through the pipe that it was started with. read makes a
// reading of one task, as pipeline.Reader does.
func Serve(in io.Reader, read func(pipeline.Given, pipeline.Task) pipeline.Entry) error {
	out := os.NewFile(answersFD, "answers")
	if info, err := out.Stat(); err != nil || info.Mode()&os.ModeNamedPipe == 0 {
		return errors.New("this command is how the program starts its own readers; use read")
	}
	confine()
	tasks, answers := json.NewDecoder(in), json.NewEncoder(out)
	for {
		var o order
		switch err := tasks.Decode(&o); {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return fmt.Errorf("a task could not be understood: %w", err)
		}
		if err := answers.Encode(taken{}); err != nil {
			return fmt.Errorf("a task could not be taken: %w", err)
		}
		if err := answers.Encode(newAnswer(read(o.given(), o.Task))); err != nil {
			return fmt.Errorf("an answer could not be given: %w", err)
		}
	}
}

// confine takes from this process what a reader has no use for. An interrupt from
// the keyboard is the starter's business: it lets photos in hand finish. Failing
// to set a limit only makes the process less confined.
func confine() {
	signal.Ignore(os.Interrupt)
	debug.SetMemoryLimit(MemoryLimit / 2)
	_ = syscall.Setrlimit(syscall.RLIMIT_CORE, &syscall.Rlimit{})
	// Data, not address space: reserving addresses costs nothing and Go does it freely.
	_ = syscall.Setrlimit(syscall.RLIMIT_DATA, &syscall.Rlimit{Cur: MemoryLimit, Max: MemoryLimit})
}
