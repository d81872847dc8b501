package gateway

import (
	"context"
	"errors"
	"fmt"
	"time"

	"cobline/dialog"
)

// ProposalKind is the kind of proposals among the Desk's documents.
const ProposalKind = "proposal"

// Proposal is what an officer would teach or write, and what an administrator has
// to look at too before the line uses it. One of Taught and Answer is set.
// Integer keys are never reused.
type Proposal struct {
	ID     string    `cbor:"-"` // given by Propose
	Taught *Taught   `cbor:"1,keyasint,omitempty"`
	Answer *Answer   `cbor:"2,keyasint,omitempty"`
	Why    []string  `cbor:"3,keyasint"` // the rules it may touch, as sentences
	By     string    `cbor:"4,keyasint"`
	At     time.Time `cbor:"5,keyasint"`
}

// CheckTaught returns what stands against a word, as Teach would.
func (k *Knowledge) CheckTaught(t Taught) error {
	k.mu.RLock()
	defer k.mu.RUnlock()
	if err := k.placed(t.Place); err != nil {
		return err
	}
	return allowed(k.engine.CheckLesson(k.facts, t.lesson()), t.By, t.Second)
}

// Meanings returns what can be taught.
func (k *Knowledge) Meanings() []dialog.Meaning { return k.engine.Meanings() }

// Propose keeps what an administrator is to look at.
func (k *Knowledge) Propose(ctx context.Context, p Proposal) error {
	p.At = exactly(p.At)
	p.ID = nameOf(p.By, p.At.String())
	if err := k.desk.Put(ctx, ProposalKind, p.ID, p, 0); err != nil {
		return fmt.Errorf("keep a proposal: %w", err)
	}
	return nil
}

// maxProposals is how many proposals are listed.
const maxProposals = 200

// Proposals lists what waits for an administrator's look.
func (k *Knowledge) Proposals(ctx context.Context) (all []Proposal, err error) {
	err = k.desk.List(ctx, ProposalKind, "", maxProposals, func(id string, _ uint64, decode func(any) error) error {
		p := Proposal{ID: id}
		if err := decode(&p); err != nil {
			k.log.Error("a proposal cannot be read and is left out", "proposal", id, "error", err)
			return nil
		}
		all = append(all, p)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("list proposals: %w", err)
	}
	return all, nil
}

// Approve lets the line use a proposal on the word of an administrator, who must
// be somebody else than who made it.
func (k *Knowledge) Approve(ctx context.Context, id, administrator string) (p Proposal, err error) {
	rev, err := k.desk.Get(ctx, ProposalKind, id, &p)
	if err != nil {
		return p, fmt.Errorf("read proposal %q: %w", id, err)
	}
	if p.ID = id; p.By == administrator {
		return p, errors.New("somebody else has to look at what you proposed yourself")
	}
	switch {
	case p.Taught != nil:
		p.Taught.Second = administrator
		_, err = k.Teach(ctx, *p.Taught)
	case p.Answer != nil:
		p.Answer.Second = administrator
		_, err = k.SetAnswer(ctx, *p.Answer)
	}
	if err != nil {
		return p, err
	}
	return p, k.drop(ctx, id, rev)
}

// Decline takes a proposal away.
func (k *Knowledge) Decline(ctx context.Context, id string) (p Proposal, err error) {
	rev, err := k.desk.Get(ctx, ProposalKind, id, &p)
	if err != nil {
		return p, fmt.Errorf("read proposal %q: %w", id, err)
	}
	p.ID = id
	return p, k.drop(ctx, id, rev)
}

func (k *Knowledge) drop(ctx context.Context, id string, rev uint64) error {
	if err := k.desk.Put(ctx, ProposalKind, id, nil, rev); err != nil {
		return fmt.Errorf("take proposal %q away: %w", id, err)
	}
	return nil
}
