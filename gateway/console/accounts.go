package console

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/alexedwards/argon2id"

	"cobline/gateway"
)

// Role is what an account may do. Each may what those below it may. It is stored.
type Role uint8

// The roles.
const (
	Viewer        Role = 1 // reads; numbers are masked
	Officer       Role = 2 // sends, teaches, answers, enrols, sees a number and is recorded
	Administrator Role = 3 // accounts, officers' phones, the audit trail
)

// Roles are the roles by name, the least first.
var Roles = []Role{Viewer, Officer, Administrator}

// String returns the role in lower case.
func (r Role) String() string {
	switch r {
	case Viewer:
		return "viewer"
	case Officer:
		return "officer"
	case Administrator:
		return "administrator"
	}
	return "no role"
}

// ParseRole reads a role's name.
func ParseRole(s string) (Role, error) {
	for _, r := range Roles {
		if r.String() == s {
			return r, nil
		}
	}
	return 0, fmt.Errorf("there is no role %q; there are viewer, officer and administrator", s)
}

// Account is somebody who may sign in. Integer keys are never reused.
type Account struct {
	Name     string    `cbor:"1,keyasint"`
	Role     Role      `cbor:"2,keyasint"`
	Hash     string    `cbor:"3,keyasint"` // of the password, with its parameters
	Disabled bool      `cbor:"4,keyasint,omitempty"`
	Made     time.Time `cbor:"5,keyasint"`
	// Epoch counts what ends all sessions: another password, a reset, disabling.
	Epoch uint64 `cbor:"6,keyasint,omitempty"`
	// Change says that somebody else knows the password: another one is asked for
	// before anything else.
	Change bool      `cbor:"7,keyasint,omitempty"`
	Seen   time.Time `cbor:"8,keyasint,omitzero"` // the last sign-in
	// Of the second step, if it is set up: the secret, the time step of the last
	// code, which is not taken twice, and the hashes of the recovery codes left.
	Secret   string   `cbor:"9,keyasint,omitempty"`
	Step     int64    `cbor:"10,keyasint,omitempty"`
	Recovery []string `cbor:"11,keyasint,omitempty"`
}

// accountKind is the kind of the Desk's documents that are accounts.
const accountKind = "account"

// The bounds of a password. NIST SP 800-63B wants at least 8 characters where a
// second step may follow and no rules of composition; 12 is common practice.
const (
	minPassword = 12
	maxPassword = 200
)

var accountName = regexp.MustCompile(`^[a-z0-9][a-z0-9._@-]{0,39}$`)

// A fault is what somebody can mend: a sentence without its first capital.
type fault string

func (f fault) Error() string { return string(f) }

// Accounts are the accounts on a Desk.
type Accounts struct {
	desk   gateway.Desk
	params *argon2id.Params
	slots  chan struct{} // each hash takes 64 MiB while it is reckoned
	nobody string        // the hash of a password nobody has
}

// NewAccounts returns the accounts of a Desk.
func NewAccounts(desk gateway.Desk) (*Accounts, error) {
	return newAccounts(desk, argon2id.DefaultParams)
}

func newAccounts(desk gateway.Desk, params *argon2id.Params) (*Accounts, error) {
	nobody, err := argon2id.CreateHash("a password nobody has", params)
	if err != nil {
		return nil, fmt.Errorf("hash a password: %w", err)
	}
	return &Accounts{desk: desk, params: params, slots: make(chan struct{}, 2), nobody: nobody}, nil
}

// fold makes one name of the ways it may be typed.
func fold(name string) string { return strings.ToLower(strings.TrimSpace(name)) }

// Get returns an account; the error is gateway.ErrNotFound if there is none.
func (a *Accounts) Get(ctx context.Context, name string) (Account, error) {
	account, _, err := a.get(ctx, name)
	return account, err
}

func (a *Accounts) get(ctx context.Context, name string) (account Account, rev uint64, err error) {
	if rev, err = a.desk.Get(ctx, accountKind, fold(name), &account); err != nil {
		return account, rev, fmt.Errorf("account %q: %w", fold(name), err)
	}
	return account, rev, nil
}

// List returns all accounts in the order of their names.
func (a *Accounts) List(ctx context.Context) (all []Account, err error) {
	for after, n := "", -1; n != len(all); {
		n = len(all)
		err := a.desk.List(ctx, accountKind, after, 100, func(id string, _ uint64, decode func(any) error) error {
			var account Account
			if err := decode(&account); err != nil {
				return fmt.Errorf("account %q: %w", id, err)
			}
			all, after = append(all, account), id
			return nil
		})
		if err != nil {
			return nil, fmt.Errorf("list accounts: %w", err)
		}
	}
	return all, nil
}

// Add makes an account. With change, its owner is asked for another password at
// the first sign-in.
func (a *Accounts) Add(ctx context.Context, name string, role Role, password string, change bool, now time.Time) error {
	name = fold(name)
	if !accountName.MatchString(name) {
		return fault("a name is small letters and digits, and may hold . _ @ and -; at most 40 of them")
	}
	hash, err := a.hash(name, password)
	if err != nil {
		return err
	}
	err = a.desk.Put(ctx, accountKind, name, Account{Name: name, Role: role, Hash: hash, Made: now, Change: change}, 0)
	if errors.Is(err, gateway.ErrConflict) {
		return fault("there is an account of this name already")
	}
	if err != nil {
		return fmt.Errorf("add an account: %w", err)
	}
	return nil
}

// hash checks a new password and hashes it.
func (a *Accounts) hash(name, password string) (string, error) {
	switch n := utf8.RuneCountInString(password); {
	case n < minPassword:
		return "", fault(fmt.Sprintf("a password has at least %d characters: four words that do not belong together are a good one", minPassword))
	case n > maxPassword:
		return "", fault(fmt.Sprintf("a password has at most %d characters", maxPassword))
	case strings.EqualFold(strings.TrimSpace(password), name):
		return "", fault("a password is not the name itself")
	}
	a.slots <- struct{}{}
	defer func() { <-a.slots }()
	hash, err := argon2id.CreateHash(password, a.params)
	if err != nil {
		return "", fmt.Errorf("hash a password: %w", err)
	}
	return hash, nil
}

// change changes an account. One administrator who may sign in is always left.
func (a *Accounts) change(ctx context.Context, name string, f func(*Account) error) (account Account, err error) {
	err = again(func() error {
		var rev uint64
		if account, rev, err = a.get(ctx, name); err != nil {
			return err
		}
		before := account
		if err := f(&account); err != nil {
			return err
		}
		if before.governs() && !account.governs() {
			all, err := a.List(ctx)
			if err != nil {
				return err
			}
			left := 0
			for _, other := range all {
				if other.governs() {
					left++
				}
			}
			if left < 2 {
				return fault("this is the last administrator; make another one first")
			}
		}
		return a.desk.Put(ctx, accountKind, account.Name, account, rev)
	})
	return account, err
}

// governs reports whether the account can make others.
func (a Account) governs() bool { return a.Role == Administrator && !a.Disabled }

// SetRole gives an account a role.
func (a *Accounts) SetRole(ctx context.Context, name string, r Role) error {
	_, err := a.change(ctx, name, func(account *Account) error {
		account.Role = r
		return nil
	})
	return err
}

// Disable lets an account sign in no more, and ends its sessions.
func (a *Accounts) Disable(ctx context.Context, name string, disabled bool) error {
	_, err := a.change(ctx, name, func(account *Account) error {
		account.Disabled = disabled
		account.Epoch++
		return nil
	})
	return err
}

// SetPassword gives an account another password and ends its sessions. With
// change, its owner is asked for another at the next sign-in, and a second step
// is to be set up anew.
func (a *Accounts) SetPassword(ctx context.Context, name, password string, change bool) (Account, error) {
	hash, err := a.hash(fold(name), password)
	if err != nil {
		return Account{}, err
	}
	return a.change(ctx, name, func(account *Account) error {
		account.Hash, account.Change = hash, change
		account.Epoch++
		if change {
			account.Secret, account.Recovery = "", nil
		}
		return nil
	})
}

// verify reports whether a password is that of an account. It takes as long for
// an account that is not there.
func (a *Accounts) verify(account Account, password string) (bool, error) {
	if utf8.RuneCountInString(password) > maxPassword {
		return false, nil
	}
	hash := account.Hash
	if hash == "" {
		hash = a.nobody
	}
	a.slots <- struct{}{}
	defer func() { <-a.slots }()
	ok, err := argon2id.ComparePasswordAndHash(password, hash)
	if err != nil {
		return false, fmt.Errorf("compare a password: %w", err)
	}
	return ok && account.Hash != "", nil
}
