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
	"unit":     "kg gram litre drum sack tin cup bucket day week hour minute piece wheelbarrow basin handful person",
	"topic":    "recipe burn binder pressing drying waste-drying plan price fix check batches weather safety ask enrol",
	"word":     "help menu back more why language start stop stop-local forget-me not-me call hurt yes no ok skip unknown about not",
	"report":   "lit covered leak opened weighed rain wind dark resealed",
	"question": "lit covered opened ready",
	"smoke":    "white yellow thin blue grey black none much flames",
	"state":    "glow warm cold",
	"symptom":  "crumbles cracks splits mouldy smokes hard-to-light sparks burns-fast ash smells not-drying sticks white-core goes-out heats",
	"emergency": "gas.a gas.b burn.a burn.b not-waking.a not-waking.b fire.a fire.b clothes.a clothes.b eye.a eye.b " +
		"chemical.a chemical.b injury.a injury.b",
	"person": "child self other animal pregnant",
	"body":   "hand foot face eye head skin hair",
	"harm": "burned scald fainted not-waking cannot-breathe fits dizzy headache vomit weak chest sick hurt fell bleeding cut crushed " +
		"swallowed poison exploded clothes-fire dead",
	"hazard": "gas fire smoke hot-water chemical",
	"trade":  "burn fire smoke hot gas",
	"lang":   "en sw fr pt es hi hi-Latn ha ht ny bn ne am rw lg yo wo",
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
