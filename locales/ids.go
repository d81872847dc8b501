package locales

// Message is one text the line can send.
type Message struct {
	ID     ID
	Budget int  // segments of the GSM 7-bit alphabet it may take, in every language
	Sample Args // the longest arguments it can meet; nil if it has no slots
}

// Sorry is said in place of a message that does not exist.
const Sorry ID = "line.sorry"

// Name is the message that holds a language's own name.
const Name ID = "language.name"

// messages is every message there is. To add one: write a row here, with the
// longest arguments it can meet (a string for each word or formatted decimal,
// an int for each whole number), and its text in active.en.toml and in every
// other active.<lang>.toml. A slot is written {{.Name}}; nothing else is
// allowed between braces. A message that counts has the slot {{.Count}} and one
// text for each plural form of the language. Load and the tests of this package
// refuse a catalogue that does not hold exactly these messages.
var messages = []Message{
	{Name, 1, nil},
	{Sorry, 1, nil},
	{"line.segments", 1, Args{"Count": 12}},
}
