package register

import (
	"context"
	"fmt"

	"cobline/gateway"
)

// Reader tells what the line knows of a number: a gateway.Store.
type Reader interface {
	Load(ctx context.Context, n gateway.Number) (gateway.Conversation, error)
}

// Check looks up each row of a list. Of those the line knows it notes that; who
// opted out, or wants no messages, becomes a fault: only they can change that.
func Check(ctx context.Context, st Reader, list *List) error {
	kept := list.Rows[:0]
	for _, r := range list.Rows {
		n, err := r.Number()
		if err != nil {
			return fmt.Errorf("line %d: %w", r.Line, err)
		}
		c, err := st.Load(ctx, n)
		if err != nil {
			return fmt.Errorf("look up line %d: %w", r.Line, err)
		}
		if why := refuses(c); why != "" {
			list.Faults = append(list.Faults, Fault{r.Line, ColumnPhone, why})
			continue
		}
		r.Known = c.Rev > 0
		kept = append(kept, r)
	}
	list.Rows = kept
	sortFaults(list.Faults)
	return nil
}

// refuses returns why nobody enters this person.
func refuses(c gateway.Conversation) string {
	switch {
	case c.State.Stopped:
		return "this number has opted out; only its owner can change that, by the text START"
	case c.State.Declines():
		return "this person told the line that they want no messages; only they can change that"
	}
	return ""
}
