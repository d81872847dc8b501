package webhook_test

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"
)

// forms are what gateways are known to do, each with an archive that shows it
// and a mark that stands there.
var forms = map[string][]struct{ form, archive, mark string }{
	"inbound": {
		{"GET with everything in the address", "in-query", `^GET .*text=`},
		{"a form", "plain-form", `x-www-form-urlencoded`},
		{"a multipart form", "in-multipart", `multipart/form-data`},
		{"JSON with nested paths", "in-json-list", `item:source\.number`},
		{"JSON by pointers", "in-json-pointer", `json:/msg`},
		{"JSON with a list of messages", "in-json-list", `each = "json:`},
		{"a text with all else in headers", "in-text", `text = "body"`},
		{"XML", "in-xml", `xml:/message`},
		{"XML with a list of messages", "in-xml-list", `each = "xml:`},
		{"PUT, and a type that does not say what the body is", "in-put", `as = "json"`},
		{"events that are no messages", "in-events", `when = `},

		{"blanks around a value", "in-multipart", `> trim`},
		{"a value in small letters", "in-steps", `> lower`},
		{"a value within a value", "in-steps", `> /tel:`},
		{"a value that is not sent", "in-multipart", `\| =32100`},
		{"percent-encoding within", "in-steps", `> percent`},
		{"the encoding of a query within", "in-xml", `> query`},
		{"hexadecimal", "in-json-hex", `> hex >`},
		{"base64", "in-json-base64", `> base64`},

		{"a charset in the content type", "in-form-charset", `charset=ISO-8859-5`},
		{"a charset in a field", "in-charset-hex", `charset = "form:`},
		{"no charset, and no UTF-8", "in-form-undeclared", `d%E9j`},
		{"UTF-16BE in hexadecimal", "in-json-hex", `utf-16be`},
		{"codes of the alphabet of phones", "in-gsm-hex", `gsm-7`},
		{"octets that are no text", "in-query-octets", `%00%01`},
		{"control characters", "in-control", `%00cobs%01`},

		{"a plus that became a blank", "in-number-blank", `from=\+2547`},
		{"a number without a plus", "in-number-bare", `from=2547`},
		{"00 before a number", "in-number-zeros", `from=002547`},
		{"000 before a number", "in-number-exit", `from=0002547`},
		{"a national number", "in-number-national", `from=07`},
		{"a short code", "in-number-short", `from=32100`},
		{"a name", "in-number-name", `from=CHARCOAL`},

		{"Unix time in seconds", "in-time-unix", `at=1772442007\n`},
		{"Unix time in milliseconds", "in-time-milliseconds", `at=1772442007250\n`},
		{"RFC 3339", "in-time-rfc3339", `12:00:07\.250%2B03:00`},
		{"a time in a zone that the configuration knows", "in-time-zone", `zone = "Africa/Nairobi"`},
		{"YYMMDDhhmm", "in-time-compact", `YYMMDDhhmm`},
		{"a layout of its own", "in-time-layout", `DD/MM/YYYY`},
		{"a clock that stands still", "in-time-stopped", `1970`},

		{"a piece by its user data header, octets in the address", "part-header", `%05%00%03`},
		{"a piece by its user data header, in hexadecimal, with a wide reference", "part-header-wide", `udh=0C`},
		{"a piece by reference, total and number", "part-numbers", `ref=0&total=3`},
		{"pieces in a list", "part-list", `"of":2`},
		{"a header that is not to be believed", "part-none", `%02%03 `},

		{"a secret in a header", "check-header", `header:X-Token`},
		{"a secret that is being changed", "check-header", `"new-s3cret-s3cret old-s3cret-s3cret"`},
		{"a secret in the query", "secret-good", `query:k`},
		{"a secret in the path", "check-path", `path:key`},
		{"a password", "check-basic", `basic = `},
		{"a signature of the body", "check-hmac-body", `encoding = "base64"`},
		{"a signature of time and body", "check-hmac", `{{\.Time}}\.{{\.Body}}`},
		{"a signature of address and fields, SHA-1", "check-hmac-url", `{{\.URL}}{{\.Params}}`},
		{"a signature of many things, SHA-512", "check-hmac-parts", `sha512`},
		{"Standard Webhooks", "check-standard", `whsec_`},
		{"Standard Webhooks with a key pair", "check-standard-public", `whpk_`},
		{"addresses, behind a proxy", "check-allow", `proxies = `},
		{"all at once", "check-all", `token.*basic.*allow`},

		{"an answer of text", "text-answer", `Content-Type: text/plain`},
		{"an answer of JSON", "plain-json", `Content-Type: application/json`},
		{"an answer of JSON written as a text", "answer-json-text", `body = """`},
		{"an answer of a form", "answer-form", `hex=0061`},
		{"an answer of XML", "in-xml", `<answer to=`},
		{"an answer in a charset", "answer-forms", `iso-8859-1`},
		{"an answer when nothing is said", "answer-empty", `empty = `},
		{"an answer to a repeat", "answer-forms", `-- again --`},
		{"an answer to what cannot be read", "answer-rejected", `rejected = `},
		{"an answer that carries nothing", "in-json-list", `\[out\]`},
		{"an answer with headers", "in-text", `X-Coding`},

		{"a report by our reference", "report-query", `ref = "query:ref"`},
		{"a report by the gateway's id", "report-list", `id = "item:message`},
		{"a receipt in the words of SMPP", "report-receipt", `stat:`},
		{"reports among messages", "report-mixed", `"status"`},
		{"a report that says opted out", "report-opted-out", `opted-out`},
	},
	"session": {
		{"all inputs since the beginning", "ussd-cumulative", `joined = `},
		{"the last input alone", "session", `form:session`},
		{"a step that is counted", "ussd-step", `step = `},
		{"inputs dialled along with the code", "ussd-dialled-along", `\*123\*`},
		{"the end told by the network", "ussd-ended", `when = `},
		{"going on told by a word before the text", "ussd-cumulative", `more Which`},
		{"going on told by a header", "ussd-step", `X-Flow: go-on`},
		{"going on told by a field of JSON", "ussd-json", `"continue":false`},
		{"going on told by an element of XML", "ussd-xml", `<type>2`},
		{"going on told by the status", "ussd-status", `end = { status = 201 }`},
		{"a turn that takes too long", "ussd-status", `-- late --`},
	},
	"outbound": {
		{"GET with everything in the address", "out-query", `method = "GET"`},
		{"parts of the address", "out-path", `/to/{{\.To}}`},
		{"a form", "out-form", `encode = "form"`},
		{"JSON", "out-accepted", `encode = "json"`},
		{"JSON written as a text", "out-json-text", `body = """`},
		{"XML", "out-xml", `encode = "xml"`},
		{"a text with all else in headers", "out-text", `encode = "text"`},
		{"PUT", "out-hex", `method = "PUT"`},
		{"a number with a plus", "out-accepted", `"\+254700000001"`},
		{"a national number", "out-form", `{{\.National}}`},
		{"UTF-16BE in hexadecimal", "out-hex", `{{\.TextHex}}`},
		{"a mark for the alphabet", "out-query-ucs2", `coding=2`},
		{"a charset", "out-text", `charset=ISO-8859-1`},
		{"our reference", "out-accepted", `{{\.Ref}}`},
		{"where to report delivery", "out-query", `{{\.DLRURL}}`},
		{"validity and priority", "out-form", `{{\.ValidMinutes}}`},
		{"the number of parts", "out-hex", `{{\.Parts}}`},
		{"a command with arguments", "out-command", `command = `},
		{"a command with an input", "out-command-input", `body = "{{\.Text}}"`},
		{"a rehearsal", "out-dry", `dry = true`},
		{"an id within the answer, in JSON", "out-id", `taken as 12345`},
		{"an id within the answer, in hexadecimal", "out-id-hex", `taken as 48879`},
		{"taken, told by the status", "out-accepted", `\ntaken\n`},
		{"taken, told by the body", "out-body-yes", `\ntaken as g-1\n`},
		{"refused, told by the status", "out-refused", `\nrefused: status 400`},
		{"refused, told by the body", "out-body-no", `\nrefused: status 200`},
		{"later, told by the status", "out-broken", `\nlater: `},
		{"later, told by the body", "out-body-later", `\nlater: `},
		{"slow down", "out-throttled", `\nthrottled for `},
		{"a time to wait", "out-throttled", `Retry-After`},
		{"no credit", "out-no-credit", `\nblocked for `},
		{"wrong credentials", "out-credentials", `\nblocked for `},
		{"another address", "out-moved", `\nblocked for `},
		{"the person wants none", "out-opted-out", `\nopted out: `},
		{"a connection that breaks", "out-hangup", `\nunsure: `},
		{"not known, told by the body", "out-unsure", `\nunsure: `},
	},
}

// Every form that is known has an archive, and none needs more than a
// specification: at least 25 of them for what comes and 15 for what goes.
func TestEveryFormHasAnArchive(t *testing.T) {
	specs := map[string]map[string]bool{"inbound": {}, "session": {}, "outbound": {}}
	for kind, list := range forms {
		for _, f := range list {
			a, err := txtar.ParseFile(filepath.Join("../../testdata/webhook", f.archive+".txtar"))
			require.NoError(t, err, f.form)
			require.Regexp(t, regexp.MustCompile("(?m)"+f.mark), string(txtar.Format(a)), f.form)
			for _, file := range a.Files {
				if file.Name == "spec.toml" {
					specs[kind][strings.TrimSpace(string(file.Data))] = true
				}
			}
		}
	}
	t.Logf("forms: %d in, %d in sessions, %d out; specifications: %d, %d, %d",
		len(forms["inbound"]), len(forms["session"]), len(forms["outbound"]), len(specs["inbound"]), len(specs["session"]), len(specs["outbound"]))
	require.GreaterOrEqual(t, len(specs["inbound"]), 25)
	require.GreaterOrEqual(t, len(specs["outbound"]), 15)
}
