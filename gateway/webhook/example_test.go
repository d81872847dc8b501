package webhook_test

import (
	"fmt"
	"net/http"
	"time"

	"github.com/BurntSushi/toml"

	"cobline/gateway"
	"cobline/gateway/webhook"
)

// A gateway that sends JSON with a secret and is answered at once.
func ExampleCompile() {
	var spec webhook.Spec
	_, err := toml.Decode(`
name = "sms-a"
country = "KE"
[in]
path = "/in/sms-a"
from = "json:message.from"
text = "json:message.text"
id = "json:message.id"
check = { token = "header:X-Token", value = "0123456789abcdef" }
answer = { carry = "all", body = "{{.Text}}" }
`, &spec)
	if err != nil {
		panic(err)
	}
	shape, err := webhook.Compile(spec)
	if err != nil {
		panic(err)
	}
	request := webhook.Request{
		Method: http.MethodPost, At: time.Now(),
		Header: http.Header{"Content-Type": {"application/json"}, "X-Token": {"0123456789abcdef"}},
		Body:   []byte(`{"message":{"id":"m-1","from":"0700 000 001","text":"cobs 2 drums snaps"}}`),
	}
	if err := shape.Check(request); err != nil {
		panic(err)
	}
	taken, err := shape.Take(request)
	if err != nil {
		panic(err)
	}
	fmt.Println(taken.Messages[0].From.Digits(), taken.Messages[0].Text)
	response, err := shape.Respond(taken.Messages[0], gateway.Shown{Texts: []string{"Load 3 sacks."}}, false)
	if err != nil {
		panic(err)
	}
	fmt.Println(response.Status, string(response.Body))
	// Output:
	// 254700000001 cobs 2 drums snaps
	// 200 Load 3 sacks.
}
