package console

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"mime"
	"path"

	"github.com/gofiber/fiber/v2"
)

//go:embed static/*
var staticFiles embed.FS

// asset is a file that pages load. Its address holds a digest of it, so a browser
// keeps it for good and never has an old one.
type asset struct {
	data []byte
	kind string
	sum  string
}

var assets = readAssets()

func readAssets() map[string]asset {
	files, err := staticFiles.ReadDir("static")
	if err != nil {
		panic(err) // it is built in
	}
	out := map[string]asset{}
	for _, f := range files {
		data, err := staticFiles.ReadFile("static/" + f.Name())
		if err != nil {
			panic(err)
		}
		sum := sha256.Sum256(data)
		out[f.Name()] = asset{data, mime.TypeByExtension(path.Ext(f.Name())), hex.EncodeToString(sum[:6])}
	}
	return out
}

// staticPath returns the address of a file.
func staticPath(name string) string { return Root + "/static/" + name + "?" + assets[name].sum }

// static answers with a file.
func (c *Console) static(f *fiber.Ctx) error {
	a, ok := assets[f.Params("name")]
	if !ok {
		return fiber.ErrNotFound
	}
	f.Set(fiber.HeaderContentType, a.kind)
	f.Set(fiber.HeaderCacheControl, "public, max-age=31536000, immutable")
	f.Set(fiber.HeaderETag, `"`+a.sum+`"`)
	if f.Fresh() {
		return f.SendStatus(fiber.StatusNotModified)
	}
	return f.Send(a.data)
}
