package locales

import (
	"strconv"
	"strings"
)

// concepts lists the meanings a word can have, by family. A concept is written
// family.name; names that contain a dot are listed with it.
var concepts = map[string]string{
	"waste": "maize-cob maize-stalk maize-husk rice-husk rice-straw coconut-shell coconut-husk groundnut-shell coffee-husk bagasse " +
		"cotton-stalk sorghum-stalk sunflower-stalk sunflower-husk cassava-stem wheat-straw palm-kernel-shell bamboo woody-stalk sawdust prunings",
	"dryness":   "dry nearly wet too-wet",
	"drum-past": "new food oil poison unknown none",
	"starch": "cassava-starch cassava-flour cassava-root maize-starch maize-flour arrowroot sweet-potato green-banana banana-peel " +
		"wheat-flour rice-flour molasses clay gum-arabic paper cow-dung aloe",
	"unit":     "kg gram tonne litre drum sack tin cup bucket year week day hour minute piece wheelbarrow basin handful person",
	"thing":    "char brands waste mix plastic cutting indoors moving",
	"topic":    "recipe burn binder pressing drying waste-drying plan price fix check batches weather safety ask enrol",
	"word":     "help menu back more why language start stop stop-local forget-me not-me call hurt yes no ok skip unknown about not filler asks at greeting seen number sold both held range yesterday pressed dose doubt office",
	"report":   "lit covered leak opened weighed rain wind dark resealed out",
	"question": "lit covered opened ready water",
	"smoke":    "white yellow thin blue grey none much flames",
	"state":    "glow warm cold",
	"mould":    "usual small big hole ball",
	"coin":     "5",         // a name of so many of the currency: a Haitian dollar is five gourdes
	"more":     "0.5 -0.25", // what a number behind it is more: "saadhe 3" is 3.5, "paune 4" is 3.75
	"weekday":  "mon tue wed thu fri sat sun tomorrow",
	"ordinal":  "1 2 3 4 5", // of a list that was shown: "the second"
	"symptom":  "crumbles cracks splits mouldy smokes hard-to-light sparks burns-fast ash smells not-drying sticks white-core goes-out heats",
	"lang":     "en sw fr pt es hi hi-Latn ha ht ny bn ne am rw lg yo wo",

	// What a text speaks of that somebody else wrote than the line: beginnings of
	// words, in languages that put parts in front of a word also its middle.
	"speaks": "opening hours water lighting drums illness",

	// The rest is read apart, to find a person who is hurt. A phrase of
	// emergency.<kind>.a is enough alone, and so is harm to a body or a child;
	// one of emergency.<kind>.b may be ordinary; one of trade is.
	"emergency": "gas.a gas.b burn.a burn.b not-waking.a not-waking.b fire.a fire.b clothes.a clothes.b eye.a eye.b " +
		"chemical.a chemical.b injury.a injury.b",
	"person": "child self other animal pregnant",
	"body":   "hand foot face eye head skin hair other",
	"harm":   "burned scald hurt fell bleeding cut crushed sick swallowed",
	"hazard": "burn gas fire smoke hot-water chemical",
	"trade":  "burn fire smoke hot gas harm",
}

var known = func() map[string]bool {
	all := map[string]bool{}
	for family, names := range concepts {
		for name := range strings.FieldsSeq(names) {
			all[family+"."+name] = true
		}
	}
	return all
}()

// Known reports whether a concept may stand in a words file: one of the list,
// or number.<n> with n a number.
func Known(concept string) bool {
	if n, ok := strings.CutPrefix(concept, "number."); ok {
		v, err := strconv.ParseFloat(n, 64)
		return err == nil && v >= 0
	}
	return known[concept]
}

// Agglutinative reports whether one letter in a word of this language can be a
// word of its own: in Swahili nimefungua says "I opened it" and nimeungua "I am
// burned". A slip in a word of alarm must not be guessed there; it is listed.
func Agglutinative(l Lang) bool {
	switch l {
	case "sw", "ny", "rw", "lg":
		return true
	}
	return false
}
