package dialog_test

import (
	"encoding/csv"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/locales"
)

// rows reads a table of testdata/understanding by its header.
func rows(t testing.TB, file string) []map[string]string {
	f, err := os.Open(filepath.Join("../testdata/understanding", file))
	require.NoError(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		out = append(out, row)
	}
	return out
}

// TestEmergencyTexts holds every text of harm to its tier and kind.
func TestEmergencyTexts(t *testing.T) {
	for _, row := range rows(t, "emergency.csv") {
		h := engine(t).Hear(locales.Lang(row["lang"]), row["text"])
		require.Equal(t, row["tier"], h.Tier, "%s: %s", row["lang"], row["text"])
		require.Equal(t, row["kind"], h.Emergency, "%s: %s", row["lang"], row["text"])
	}
}

// TestOrdinaryTexts holds sentences of the trade with fire, burn, smoke and gas
// in them: none overrides the conversation.
func TestOrdinaryTexts(t *testing.T) {
	ordinary := rows(t, "ordinary.csv")
	require.GreaterOrEqual(t, len(ordinary), 60)
	for _, row := range ordinary {
		h := engine(t).Hear(locales.Lang(row["lang"]), row["text"])
		require.NotEqual(t, "a", h.Tier, "%s: %s", row["lang"], row["text"])
		if row["tier"] == "" {
			require.Empty(t, h.Tier, "%s: %s", row["lang"], row["text"])
		}
	}
}

// knownMisread are the texts that are not read as their writer meant, each with
// what is read instead and why that harms nobody. None of the list may come to be
// understood without leaving it.
var knownMisread = map[string]string{
	"what can i make from 2 drums of cobs, cobs dry?": "the question mark makes the dryness a question: it is asked",
	"nipate briketi ngapi kwa magunzi pipa 3 makavu?": "the question mark makes the dryness a question: it is asked",
	"how do i make charcoal in a drum":                "answered with the recipe, which tells of the burn",
	"burn cobs":                                       "answered with the recipe, which tells of the burn",
	"how to burn cobs in drum":                        "answered with the recipe, which tells of the burn",
	"kuchoma magunzi":                                 "answered with the recipe, which tells of the burn",
	"i weighed the char it is 8kg":                    "asked whether it is done; the kilograms are kept",
	"naweza kuopen sasa":                              "not understood: a word of two languages",
	"covered tayari":                                  "taken as a question, which moves nothing",
	"lit tayari saa 3":                                "taken as a question, which moves nothing",
	"nausea after opening drum":                       "the line about gas comes first, then how long to leave it shut",
	"kizungu zungu baada ya kufungua pipa":            "the line about gas comes first, then how long to leave it shut",
	"how long to burn the maize cobs please":          "taken as the question when it is ready",
}

// TestProducerTexts holds the line to texts that were written apart from the
// code. At least 97 of 100 must be read as meant, the others are those of the
// list, and none is misread in the direction of danger: wetter taken as drier, a
// shorter wait, a question taken as a report, an emergency missed, a look-alike
// taken as an opt-out.
func TestProducerTexts(t *testing.T) {
	texts := rows(t, "texts.csv")
	require.GreaterOrEqual(t, len(texts), 400)
	var wrong, dangerous []string
	misheard := map[string]string{}
	for _, row := range texts {
		h := engine(t).Hear(locales.Lang(row["lang"]), row["text"])
		if why := misread(row, h); why != "" {
			wrong = append(wrong, fmt.Sprintf("%s: %q: %s", row["lang"], row["text"], why))
			misheard[row["text"]] = why
		}
		if why := dangerouslyRead(row, h); why != "" {
			dangerous = append(dangerous, fmt.Sprintf("%s: %q: %s", row["lang"], row["text"], why))
		}
	}
	require.Empty(t, dangerous, strings.Join(dangerous, "\n"))
	if right := len(texts) - len(wrong); float64(right) < 0.97*float64(len(texts)) {
		t.Errorf("%d of %d texts are read as meant:\n%s", right, len(texts), strings.Join(wrong, "\n"))
	}
	for text, why := range misheard {
		require.Contains(t, knownMisread, text, why)
	}
	for text := range knownMisread {
		require.Contains(t, misheard, text, "it is understood now: take it off the list")
	}
}

// misread says what of a row is not understood as meant, or nothing.
func misread(row map[string]string, h dialog.Heard) string {
	check := func(column, got string) string {
		if want := row[column]; want != "*" && want != got {
			return fmt.Sprintf("%s is %q and not %q", column, got, want)
		}
		return ""
	}
	optOut := ""
	if h.OptOut {
		optOut = "yes"
	}
	for _, why := range []string{
		check("tier", h.Tier), check("emergency", h.Emergency), check("opt_out", optOut),
		check("report", strings.TrimPrefix(h.Report, "out")), // the table knows no report of a fire gone out
		topicOf(row, h), slotsOf(row, h),
	} {
		if why != "" {
			return why
		}
	}
	return ""
}

func topicOf(row map[string]string, h dialog.Heard) string {
	want := row["topic"]
	if want == "*" || want == "" || want == h.Topic {
		return ""
	}
	return fmt.Sprintf("topic is %q and not %q", h.Topic, want)
}

func slotsOf(row map[string]string, h dialog.Heard) string {
	if row["slots"] == "*" || row["slots"] == "" {
		return ""
	}
	want := map[string]string{}
	for slot := range strings.SplitSeq(row["slots"], ";") {
		k, v, _ := strings.Cut(slot, "=")
		if v == "fuel" || v == "paint" {
			v = map[string]string{"fuel": "oil", "paint": "poison"}[v]
		}
		if v != "?" {
			want[k] = v
		}
	}
	got := map[string]string{}
	for k, v := range h.Slots {
		if got[k] = v.Key; v.Key == "" {
			got[k] = strconv.FormatFloat(v.Number, 'f', -1, 64)
		}
	}
	wetter := func(k string) bool { // bending is too wet: wetter than meant is no misreading
		return k == "dryness" && want[k] == "wet" && got[k] == "too-wet"
	}
	for k := range want {
		if got[k] != want[k] && !wetter(k) {
			return fmt.Sprintf("slots are %v and not %v", got, want)
		}
	}
	if row["slots"] != "" && len(got) > len(want) {
		return fmt.Sprintf("slots are %v and no more than %v", got, slices.Sorted(maps.Keys(want)))
	}
	return ""
}

// dangerouslyRead says how a reading could hurt somebody, or nothing.
func dangerouslyRead(row map[string]string, h dialog.Heard) string {
	note := strings.Split(row["note"], ";")
	dry := h.Slots["dryness"].Key
	order := []string{"", "dry", "nearly", "wet", "too-wet"}
	report := h.Report != "" && !strings.HasSuffix(h.Report, "?") && slices.Contains([]string{"lit", "covered", "opened", "weighed"}, h.Report)
	want := ""
	if _, after, ok := strings.Cut(row["slots"], "dryness="); ok {
		want, _, _ = strings.Cut(after, ";")
	}
	switch {
	case row["tier"] == "a" && h.Tier != "a", row["tier"] == "b" && h.Tier == "":
		return "a missed emergency"
	case (slices.Contains(note, "not-a") || row["tier"] == "") && h.Tier == "a":
		return "an emergency that is none"
	case strings.HasSuffix(row["report"], "?") && report, slices.Contains(note, "not-report") && report:
		return "a question taken as the report " + h.Report
	case slices.Contains(note, "not-dry") && dry == "dry":
		return "wet taken as dry"
	case slices.Contains(note, "wet-or-wetter") && (dry == "dry" || dry == "nearly"):
		return "wet taken as " + dry
	case want != "" && dry != "" && slices.Index(order, dry) < slices.Index(order, want):
		return want + " taken as " + dry
	case slices.Contains(note, "not-opt-out") && h.OptOut:
		return "an opt-out that is none"
	case row["opt_out"] == "yes" && !h.OptOut:
		return "a missed opt-out"
	}
	return ""
}
