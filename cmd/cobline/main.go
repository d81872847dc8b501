// Command cobline runs the line, and shows on the command line what it would
// say, understand and compute.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	_ "time/tzdata" // small machines and containers come without the zones

	"github.com/alecthomas/kong"
	"github.com/willabides/kongplete"
)

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

// commands is the command line. Each command is a struct of its flags with a
// Run method.
type commands struct {
	Try      tryCommand      `cmd:"" help:"Be a phone in the terminal: write to the line and read what it answers."`
	Hear     hearCommand     `cmd:"" help:"Show what the line understands of a text."`
	Reckon   reckonCommand   `cmd:"" help:"Compute what the line computes, from flags."`
	Serve    serveCommand    `cmd:"" help:"Run the line."`
	Init     initCommand     `cmd:"" help:"Write a configuration with fresh secrets."`
	Check    checkCommand    `cmd:"" help:"Check configuration, messages and figures, and say what to mend."`
	Log      logCommand      `cmd:"" help:"Print the journal as CSV or JSON lines, without numbers. The line must not run."`
	Batches  batchesCommand  `cmd:"" help:"Print everybody's batches and sales as CSV, without numbers. The line must not run."`
	Store    storeCommand    `cmd:"" help:"Back up or compact the store."`
	Notice   noticeCommand   `cmd:"" help:"Preview, send and follow officers' notices."`
	Officer  officerCommand  `cmd:"" help:"Make and keep the accounts of the officers' console."`
	Forecast forecastCommand `cmd:"" help:"Show, fetch and bring the weather of the places."`
	Channel  channelCommand  `cmd:"" help:"Show the channels, try one on a request, or let a paused one go on."`

	InstallCompletions kongplete.InstallCompletions `cmd:"" help:"Complete this program's commands in your shell."`
}

const description = `A text-message line for people who turn crop waste into charcoal briquettes.

Begin with "cobline try": it needs no file, no network and no other program.`

// terminal is where a command reads and writes.
type terminal struct {
	in       io.Reader
	out, err io.Writer
}

// advised is an error and what to do about it.
type advised struct {
	error
	advice string
}

func (a advised) Unwrap() error { return a.error }

// exit is the panic that ends a run from inside the command line parser.
type exit int

// The exit codes.
const (
	failed  = 1
	misused = 2
)

func run(args []string, stdin io.Reader, stdout, stderr io.Writer) (code int) {
	defer func() {
		switch r := recover().(type) {
		case nil:
		case exit:
			code = int(r)
		default:
			panic(r)
		}
	}()
	c := commands{Reckon: newReckon()}
	parser, err := kong.New(
		&c,
		kong.Name("cobline"),
		kong.Description(description),
		kong.Writers(stdout, stderr),
		kong.Exit(func(code int) { panic(exit(code)) }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}),
	)
	if err != nil {
		panic(err) // the struct above is wrong
	}
	kongplete.Complete(parser)
	ctx, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintf(stderr, "cobline: %v\n%s\n", err, usage(err))
		return misused
	}
	if err := ctx.Run(&terminal{stdin, stdout, stderr}, ctx); err != nil {
		fmt.Fprintf(stderr, "cobline: %v\n", err)
		if a := (advised{}); errors.As(err, &a) {
			fmt.Fprintln(stderr, a.advice)
		}
		return failed
	}
	return 0
}

// usage says where to read more after a command line that was not understood.
func usage(err error) string {
	command := "cobline"
	if p := (*kong.ParseError)(nil); errors.As(err, &p) {
		path, _, _ := strings.Cut(p.Context.Command(), "<")
		command = strings.TrimSpace(command + " " + path)
	}
	return fmt.Sprintf("Run %q to see what it takes.", command+" --help")
}
