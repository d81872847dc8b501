package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/peterh/liner"

	"cobline/gateway"
	"cobline/gateway/console"
)

type officerCommand struct {
	Add     officerAddCommand     `cmd:"" help:"Make an account for the console."`
	List    officerListCommand    `cmd:"" help:"List the accounts."`
	Role    officerRoleCommand    `cmd:"" help:"Give an account another role."`
	Disable officerDisableCommand `cmd:"" help:"Let an account sign in no more, and end its sessions."`
	Enable  officerEnableCommand  `cmd:"" help:"Let a disabled account sign in again."`
	Reset   officerResetCommand   `cmd:"" help:"Give an account a new password, and take away its second step."`
	Unlock  officerUnlockCommand  `cmd:"" help:"Let an account that failed too often sign in again at once."`
	Phone   officerPhoneCommand   `cmd:"" help:"Officers' own phones, which read what is urgent and send warnings by text."`
}

// officerOrder is what a command about officers says to the line.
type officerOrder struct {
	Name     string `json:"name"`
	Role     string `json:"role,omitempty"`
	Password string `json:"password,omitempty"`
	Change   bool   `json:"change,omitempty"` // somebody else knows the password
}

// officerState is an account as scripts read it; its names are stable.
type officerState struct {
	Name       string    `json:"name"`
	Role       string    `json:"role"`
	Disabled   bool      `json:"disabled"`
	Locked     time.Time `json:"locked_until,omitzero"`
	Made       time.Time `json:"made"`
	SignedIn   time.Time `json:"signed_in,omitzero"`
	SecondStep bool      `json:"second_step"`
}

// officerName is an account on the command line.
type officerName struct {
	Name   string `arg:"" help:"The name, as it is typed at sign-in."`
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

func (n officerName) order(t *terminal, command string, o officerOrder, done string) error {
	config, err := Load(n.Config, os.Environ())
	if err != nil {
		return err
	}
	o.Name = n.Name
	argument, err := json.Marshal(o)
	if err != nil {
		return err
	}
	var all []officerState
	if _, err := order(config, "officer-"+command, string(argument), &all); err != nil {
		return err
	}
	fmt.Fprintf(t.out, done+"\n", n.Name)
	return nil
}

// passwordFlags are where a new password comes from: never from the command line
// itself, which other people on the machine can read.
type passwordFlags struct {
	PasswordFile string `placeholder:"FILE" help:"A file whose first line is the password (default: it is asked for, or read from standard input)."`
}

// read reads the password.
func (p passwordFlags) read(t *terminal) (string, error) {
	if f, ok := t.in.(*os.File); ok && p.PasswordFile == "" && isatty.IsTerminal(f.Fd()) {
		return askPassword()
	}
	in := t.in
	if p.PasswordFile != "" {
		f, err := os.Open(p.PasswordFile)
		if err != nil {
			return "", fmt.Errorf("read the password: %w", err)
		}
		defer f.Close()
		in = f
	}
	line, err := bufio.NewReader(in).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("read the password: %w", err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}

// askPassword asks twice, and shows nothing.
func askPassword() (string, error) {
	l := liner.NewLiner()
	defer l.Close()
	first, err := l.PasswordPrompt("Password, at least 12 characters: ")
	if err != nil {
		return "", fmt.Errorf("read the password: %w", err)
	}
	second, err := l.PasswordPrompt("Once more: ")
	if err != nil {
		return "", fmt.Errorf("read the password: %w", err)
	}
	if first != second {
		return "", errors.New("the two are not the same")
	}
	return first, nil
}

type officerAddCommand struct {
	officerName
	passwordFlags
	Role   string `enum:"viewer,officer,administrator" default:"officer" help:"What it may do: viewer reads; officer also sends, teaches, answers and enrols; administrator also makes accounts."`
	Change bool   `help:"Ask for another password at the first sign-in: you make the account for somebody else."`
}

// Run makes an account.
func (a *officerAddCommand) Run(t *terminal) error {
	password, err := a.read(t)
	if err != nil {
		return err
	}
	return a.order(t, "add", officerOrder{Role: a.Role, Password: password, Change: a.Change}, "The account %s is made. It signs in at "+console.Root+".")
}

type officerResetCommand struct {
	officerName
	passwordFlags
}

// Run resets a password.
func (r *officerResetCommand) Run(t *terminal) error {
	password, err := r.read(t)
	if err != nil {
		return err
	}
	return r.order(t, "reset", officerOrder{Password: password}, "The password of %s is reset; another one is asked for at the next sign-in.")
}

type officerRoleCommand struct {
	officerName
	Role string `arg:"" enum:"viewer,officer,administrator" help:"viewer, officer or administrator."`
}

// Run gives an account another role.
func (r *officerRoleCommand) Run(t *terminal) error {
	return r.order(t, "role", officerOrder{Role: r.Role}, "The role of %s is changed.")
}

type (
	officerDisableCommand struct{ officerName }
	officerEnableCommand  struct{ officerName }
	officerUnlockCommand  struct{ officerName }
)

// Run disables an account.
func (d *officerDisableCommand) Run(t *terminal) error {
	return d.order(t, "disable", officerOrder{}, "The account %s is disabled, and signed out everywhere.")
}

// Run enables an account.
func (e *officerEnableCommand) Run(t *terminal) error {
	return e.order(t, "enable", officerOrder{}, "The account %s is enabled.")
}

// Run unlocks an account.
func (u *officerUnlockCommand) Run(t *terminal) error {
	return u.order(t, "unlock", officerOrder{}, "The account %s may sign in again at once.")
}

type officerListCommand struct {
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
	JSON   bool   `help:"Print a JSON array."`
}

// Run lists the accounts.
func (l *officerListCommand) Run(t *terminal) error {
	config, err := Load(l.Config, os.Environ())
	if err != nil {
		return err
	}
	var all []officerState
	if _, err := order(config, "officer-list", "{}", &all); err != nil {
		return err
	}
	if l.JSON {
		return printJSON(t.out, all)
	}
	w := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "name\trole\tlast signed in\tsecond step\tstanding")
	for _, a := range all {
		seen, second, standing := "never", "no", "in use"
		if !a.SignedIn.IsZero() {
			seen = a.SignedIn.In(config.zone()).Format(minuteLayout)
		}
		if a.SecondStep {
			second = "yes"
		}
		switch {
		case a.Disabled:
			standing = "disabled"
		case !a.Locked.IsZero():
			standing = "locked until " + a.Locked.In(config.zone()).Format(minuteLayout)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", a.Name, a.Role, seen, second, standing)
	}
	return w.Flush()
}

// officer does what commands about officers ask for, and returns all accounts.
func (c *controller) officer(ctx context.Context, what, argument string) ([]officerState, error) {
	var o officerOrder
	if err := json.Unmarshal([]byte(argument), &o); err != nil {
		return nil, fmt.Errorf("read the command: %w", err)
	}
	accounts, err := console.NewAccounts(c.store)
	if err != nil {
		return nil, err
	}
	now := c.watch.At(time.Now())
	record := gateway.Record{At: now, By: "command line", On: strings.ToLower(o.Name), Detail: o.Role}
	switch what {
	case "list":
	case "add", "role":
		role, err := console.ParseRole(o.Role)
		if err != nil {
			return nil, err
		}
		if record.What = "role changed"; what == "add" {
			record.What = "account made"
			err = accounts.Add(ctx, o.Name, role, o.Password, o.Change, now)
		} else {
			err = accounts.SetRole(ctx, o.Name, role)
		}
		if err != nil {
			return nil, err
		}
	case "disable", "enable":
		record.What = "account " + what + "d"
		err = accounts.Disable(ctx, o.Name, what == "disable")
	case "reset":
		record.What = "password reset"
		_, err = accounts.SetPassword(ctx, o.Name, o.Password, true)
	case "unlock":
		record.What = "account unlocked"
		err = accounts.Unlock(ctx, o.Name)
	default:
		return nil, fmt.Errorf("unknown command about officers %q", what)
	}
	if err == nil && record.What != "" {
		err = gateway.Audit(ctx, c.store, record)
	}
	if err != nil {
		return nil, err
	}
	all, err := accounts.List(ctx)
	states := []officerState{}
	for _, a := range all {
		locked, err := accounts.Locked(ctx, a.Name, now)
		if err != nil {
			return nil, err
		}
		states = append(states, officerState{Name: a.Name, Role: a.Role.String(), Disabled: a.Disabled, Locked: locked, Made: a.Made, SignedIn: a.Seen, SecondStep: a.Secret != ""})
	}
	return states, err
}
