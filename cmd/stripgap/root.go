package main

import (
	"errors"
	"fmt"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"
)

// Exit codes. They are part of the program's contract; README lists them.
const (
	exitOK      = 0
	exitFailed  = 1 // something was refused or failed
	exitUsage   = 2 // the command line itself is wrong
	exitOutside = 3 // with --strict: something lies outside its limits
)

// usageError is a mistake on the command line, as opposed to one in the work.
type usageError struct{ err error }

func (e usageError) Error() string { return e.err.Error() }
func (e usageError) Unwrap() error { return e.err }

// usagef returns a usageError made like fmt.Errorf.
func usagef(format string, args ...any) error {
	return usageError{fmt.Errorf(format, args...)}
}

// exclusive refuses flags of which only one can hold.
func exclusive(changed func(string) bool, names ...string) error {
	var given []string
	for _, n := range names {
		if changed(n) {
			given = append(given, "--"+n)
		}
	}
	if len(given) > 1 {
		return usagef("%s exclude one another; give one of them", strings.Join(given, " and "))
	}
	return nil
}

// exitError ends the program with a code and no further word: what went wrong
// has been said where it happened.
type exitError int

func (e exitError) Error() string { return fmt.Sprintf("exit code %d", int(e)) }

// explain says what went wrong in one line and returns the exit code.
func explain(cmd *cobra.Command, err error) int {
	var code exitError
	var usage usageError
	switch {
	case err == nil:
		return exitOK
	case errors.As(err, &code):
		return int(code)
	case errors.As(err, &usage):
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: %v; see %s --help\n", cmd.CommandPath(), err, cmd.CommandPath())
		return exitUsage
	default:
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: %v\n", cmd.CommandPath(), err)
		return exitFailed
	}
}

// version tells which program this is: the release, or the commit and its time that Go
// wrote into it when it was built.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" || info.Main.Version == "(devel)" {
		return "unknown, built without its commit"
	}
	return info.Main.Version
}

// newRootCommand builds the command tree.
func newRootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "stripgap",
		Short: "Read bearing oil clearance from photos of gauging strips",
		Long: `stripgap reads the oil clearance of an engine bearing from a phone photo of a
flattened gauging strip beside a printed calibration card.

A reading is an estimate. It does not replace the engine maker's manual and is
not a licence to run an engine.

Exit codes: 0 all read, 1 something was refused or failed, 2 wrong usage,
3 (only with --strict) something lies outside its limits.

Topics, for stripgap help TOPIC:
` + topicList(),
		Example: `  stripgap card print --out sheet.pdf --tags M1,M2,M3
  stripgap read photos --lot lot.toml --pictures out
  stripgap help photographing`,
		Version:       version(),
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.Flags().Bool("version", false, "tell which program this is")
	root.AddCommand(newReadCommand(), newReaderCommand(), newBuildCommand(), newServeCommand(), newCardCommand(), newPhoneCommand(), newStripCommand(), newRenderCommand())
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	// Made now rather than at the start, so that they are guarded like the rest.
	root.SetHelpCommand(newHelpCommand())
	root.InitDefaultHelpCmd()
	nameCompletion(root)
	completeFlags(root)
	guardUsage(root)
	return root
}

// guardUsage makes every mistake on the command line a usageError, for a
// command and all below it, so that no command has to care.
func guardUsage(cmd *cobra.Command) {
	if cmd.HasSubCommands() && !cmd.Runnable() {
		cmd.Args = func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return fmt.Errorf("there is no command %q", args[0])
			}
			return nil
		}
		cmd.RunE = func(c *cobra.Command, _ []string) error { return c.Help() }
	}
	check := cmd.Args
	if check == nil {
		check = cobra.NoArgs
	}
	cmd.Args = func(c *cobra.Command, args []string) error {
		for _, err := range []error{check(c, args), c.ValidateRequiredFlags(), c.ValidateFlagGroups()} {
			if err != nil {
				return usageError{err}
			}
		}
		return nil
	}
	for _, sub := range cmd.Commands() {
		guardUsage(sub)
	}
}
