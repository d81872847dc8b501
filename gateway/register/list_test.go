package register

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

var words = Words{
	Country: "KE",
	Places: map[string]dialog.Place{
		"home": {Key: "home", Name: "Home"}, "lakeside": {Key: "lakeside", Name: "Lakeside"},
	},
	Langs: map[locales.Lang]string{"en": "English", "sw": "Kiswahili"},
}

func TestReadAList(t *testing.T) {
	want := []Row{
		{Line: 2, Digits: "254712345678", Profile: dialog.Profile{Lang: "sw", Place: "lakeside", Group: `Women, "upper"`, Consent: "paper"}},
		{Line: 3, Digits: "254712345679", Profile: dialog.Profile{Consent: "meeting in May"}},
	}
	const comma = "phone,place,group,language,consent\n" +
		`0712 345 678,Lakeside,"Women, ""upper""",kiswahili,paper` + "\n+254712345679,,,, meeting  in May \n\n,,,,\n"
	for name, file := range map[string]string{
		"commas":                 comma,
		"a byte order mark":      "\ufeff" + comma,
		"line ends of Windows":   strings.ReplaceAll(comma, "\n", "\r\n"),
		"no end of line at last": strings.TrimRight(comma, "\n,"),
		"semicolons":             "Phone;Place;Group;Language;Consent\n0712345678;LAKESIDE;\"Women, \"\"upper\"\"\";sw;paper\n'+254 712 345679;;;;meeting in May\n",
		"tabs":                   "phone\tplace\tgroup\tlanguage\tconsent\n254712345678\tlakeside\t\"Women, \"\"upper\"\"\"\tSW\tpaper\n712345679\t\t\t\tmeeting in May\n",
		"another order":          "consent;language;group;place;phone number\npaper;sw;\"Women, \"\"upper\"\"\";lakeside;0712345678\nmeeting in May;;;;0712345679\n",
		"short rows":             "phone,consent,place,group,language\n0712345678,paper,lakeside,\"Women, \"\"upper\"\"\",sw\n0712345679,meeting in May\n",
	} {
		t.Run(name, func(t *testing.T) {
			list, err := Read([]byte(file), words)
			require.NoError(t, err)
			require.Empty(t, list.Faults)
			require.Equal(t, want, list.Rows)
		})
	}
}

// Each fault is told with its line, its column and what to do.
func TestFaultsOfRows(t *testing.T) {
	for _, tt := range []struct{ row, column, why string }{
		{",home,,en,paper", "phone", "the phone number is missing"},
		{"12345,home,,en,paper", "phone", "this is not a phone number; write it with its country code, such as +254700000001"},
		{`2.54712E+11,home,,en,paper`, "phone", "the spreadsheet has shortened the number; format the column as text, write the number anew and save again"},
		{"0712345677,home,,en,paper", "phone", "the same number stands on line 2"},
		{"+254 712 345677,home,,en,paper", "phone", "the same number stands on line 2"},
		{"0712345678,Riverside,,en,paper", "place", `there is no place "Riverside"; there are Home, Lakeside`},
		{"0712345678,+254712345678 is mine,,en,paper", "place", `there is no place "+254…78 is mine"; there are Home, Lakeside`},
		{"0712345678,home,,Klingon,paper", "language", `there is no language "Klingon"; there are en (English), sw (Kiswahili)`},
		{"0712345678,home,,en,", "consent", "how consent was given is missing; write for example: paper, meeting or by phone"},
		{"0712345678,home,,en", "consent", "how consent was given is missing; write for example: paper, meeting or by phone"},
		{"0712345678,home,,en,No", "consent", "this person has not agreed; leave the row out"},
		{"0712345678,home,,en,text-no", "consent", "this person has not agreed; leave the row out"},
		{"0712345678,home,,en," + strings.Repeat("x", 61), "consent", "how consent was given has 61 letters; 60 is the most"},
		{"0712345678,home," + strings.Repeat("é", 31) + ",en,paper", "group", "the name of the group has 31 letters; 30 is the most"},
		{"0712345678,home,Caf\xe9,en,paper", "group", "this is not UTF-8; save the file again as CSV in UTF-8"},
		{"0712345678,home,a\x00b,en,paper", "group", "the cell holds control characters"},
		{"0712345678,home,,en,paper,more", "", "the row has 6 cells, and the first line names 5"},
		{`0712345678,home,the "upper" group,en,paper`, "", `a quotation mark stands inside a cell; write the cell in quotation marks and the mark twice: "the ""upper"" group"`},
		{"0712345678,home,\"open,en,paper\nnext", "", "a quotation mark opens a cell that is not closed as it should be; the rows from here to line 4 were not read"},
	} {
		t.Run(tt.why, func(t *testing.T) {
			list, err := Read([]byte("phone,place,group,language,consent\n0712345677,home,,en,paper\n"+tt.row), words)
			require.NoError(t, err)
			require.Len(t, list.Rows, 1)
			require.Equal(t, []Fault{{3, tt.column, tt.why}}, list.Faults)
		})
	}
}

func TestNoList(t *testing.T) {
	for file, why := range map[string]string{
		"":                                       "the file is empty",
		"\ufeff \r\n":                            "the file is empty",
		"\xff\xfep\x00h\x00":                     "the file is written in UTF-16; save it again as CSV in UTF-8",
		"PK\x03\x04":                             "this is a workbook of a spreadsheet, not a list; save the sheet as CSV in UTF-8 and choose that file",
		"0712345678,home,,en,paper\n":            `there is no column "phone"; the first line must name the columns, such as: phone,place,group,language,consent`,
		"phone,place\n0712345678,home\n":         `there is no column "consent"; the first line must name the columns, such as: phone,place,group,language,consent`,
		"phone,number,consent\n":                 `two columns are named "phone"`,
		"phone,consent\n":                        "the list has no rows below the names of its columns",
		"\"phone,consent\n":                      "the first line cannot be read; write there: phone,place,group,language,consent",
		"<script>alert(1)</script>\n":            `there is no column "phone"; the first line must name the columns, such as: phone,place,group,language,consent`,
		"phone,consent\n" + many(MaxRows+1):      "the list has more than 20000 rows; cut it in pieces",
		"phone,consent\n" + "0712345678,paper\n": "",
	} {
		_, err := Read([]byte(file), words)
		if why == "" {
			require.NoError(t, err)
			continue
		}
		require.Equal(t, Unreadable(why), err)
	}
}

func many(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "0712%06d,paper\n", i)
	}
	return b.String()
}

// A column nobody asked for is not kept, and the officer is told.
func TestColumnsThatAreIgnored(t *testing.T) {
	list, err := Read([]byte("name,phone,,consent,=cmd()\nAnna,0712345678,x,paper,y\n"), words)
	require.NoError(t, err)
	require.Equal(t, []string{"name", "=cmd()"}, list.Ignored)
	require.Equal(t, []Row{{Line: 2, Digits: "254712345678", Profile: dialog.Profile{Consent: "paper"}}}, list.Rows)
}

// The template is a list, whatever the places and languages; its numbers are
// nobody's, so that sent back as it is it enters nobody.
func TestTemplateReadsBack(t *testing.T) {
	for _, w := range []Words{words, {Country: "KE"}} {
		list, err := Read(w.Template(), w)
		require.NoError(t, err)
		require.Empty(t, list.Rows)
		require.Len(t, list.Faults, 3)
		list, err = Read(bytes.ReplaceAll(w.Template(), []byte("+999000000"), []byte("+254700000")), w)
		require.NoError(t, err)
		require.Empty(t, list.Faults)
		require.Len(t, list.Rows, 3)
	}
}

func TestHarmless(t *testing.T) {
	for cell, want := range map[string]string{
		"":                   "",
		"maize":              "maize",
		"-5.5":               "-5.5",
		"+254700000001":      "+254700000001",
		"=1+1":               "'=1+1",
		"@SUM(A1)":           "'@SUM(A1)",
		"+cmd|' /C calc'!A0": "'+cmd|' /C calc'!A0",
		"-2+3":               "'-2+3",
		"\t=1":               "'\t=1",
		"\r=1":               "'\r=1",
		"  =1":               "'  =1",
		"＝1":                 "'＝1",
		"a=1":                "a=1",
	} {
		require.Equal(t, want, Harmless(cell), "%q", cell)
	}
}

func TestSheet(t *testing.T) {
	var b bytes.Buffer
	s, err := NewSheet(&b, "group", "kg")
	require.NoError(t, err)
	require.NoError(t, s.Row("=HYPERLINK(\"http://x\")", Number(12.345)))
	require.NoError(t, s.Row("Women, \"upper\"\nline", Number(0)))
	require.NoError(t, s.End())
	require.Equal(t, "\ufeffgroup,kg\r\n\"'=HYPERLINK(\"\"http://x\"\")\",12.35\r\n\"Women, \"\"upper\"\"\r\nline\",\r\n", b.String())
}

// FuzzRead: whatever a file holds, each of its rows is entered or told of, once;
// every number is one, and nobody is entered without a consent.
func FuzzRead(f *testing.F) {
	f.Add([]byte("phone,place,group,language,consent\n0712345678,home,,en,paper\n"))
	f.Add([]byte("\ufeffphone;consent\r\n\"0712\"\"\";x\r\n"))
	f.Add([]byte("phone\tconsent\n0712345678\t=1+1\n0712345678\tno\n"))
	f.Add([]byte("phone,consent\n\"open,paper\n0712345678,paper"))
	f.Fuzz(func(t *testing.T, data []byte) {
		list, err := Read(data, words)
		if err != nil {
			require.IsType(t, Unreadable(""), err)
			return
		}
		lines := map[int]bool{}
		total := bytes.Count(data, []byte("\n")) + 1
		for _, r := range list.Rows {
			require.False(t, lines[r.Line])
			lines[r.Line] = true
			require.LessOrEqual(t, r.Line, total)
			_, err := r.Number()
			require.NoError(t, err)
			require.NotEmpty(t, r.Profile.Consent)
		}
		for _, fault := range list.Faults {
			require.False(t, lines[fault.Line], "a row that is entered and told of")
			require.NotEmpty(t, fault.Why)
			require.Equal(t, gateway.Mask(fault.Why), strings.ReplaceAll(fault.Why, "+254700000001", "+254…01"), "a number in a report")
		}
		// What was read, written as a sheet, is read the same.
		var b bytes.Buffer
		w := csv.NewWriter(&b)
		require.NoError(t, w.Write(Columns))
		for _, r := range list.Rows {
			require.NoError(t, w.Write([]string{"+" + r.Digits, r.Profile.Place, r.Profile.Group, string(r.Profile.Lang), r.Profile.Consent}))
		}
		w.Flush()
		if len(list.Rows) == 0 {
			return
		}
		again, err := Read(b.Bytes(), words)
		require.NoError(t, err)
		require.Empty(t, again.Faults)
		require.Len(t, again.Rows, len(list.Rows))
		for i, r := range again.Rows {
			require.Equal(t, list.Rows[i].Digits, r.Digits)
			require.Equal(t, list.Rows[i].Profile, r.Profile)
		}
	})
}
