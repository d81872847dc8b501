package gateway_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
)

// What is older than it may be kept is dropped from the trail, all of it, and
// nothing else.
func TestOldRecordsAreDropped(t *testing.T) {
	l := newLine(t)
	const old = 1203 // some pages
	for i := range old {
		require.NoError(t, gateway.Audit(l.ctx, l.store, gateway.Record{At: start.Add(-time.Duration(i) * time.Minute), By: "amina", What: "sign-in"}))
	}
	var kept []gateway.Record
	for i := range 3 {
		r := gateway.Record{At: start.Add(time.Millisecond + time.Duration(i)*time.Hour), By: "amina", What: "sign-in", On: fmt.Sprint(i)}
		require.NoError(t, gateway.Audit(l.ctx, l.store, r))
		kept = append([]gateway.Record{r}, kept...)
	}
	require.NoError(t, l.store.Put(l.ctx, "other", "zzzz", 1, 0))
	require.NoError(t, gateway.PruneAudit(l.ctx, l.store, start.Add(time.Millisecond)))
	trail, next, err := gateway.AuditTrail(l.ctx, l.store, "", 5000)
	require.NoError(t, err)
	require.Empty(t, next)
	require.Len(t, trail, len(kept))
	for i, r := range trail {
		require.Equal(t, kept[i].On, r.On)
		require.WithinDuration(t, kept[i].At, r.At, time.Second)
	}
	rev, err := l.store.Get(l.ctx, "other", "zzzz", new(int))
	require.NoError(t, err)
	require.Positive(t, rev)
}
