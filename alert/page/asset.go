package page

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"net/http"
)

//go:embed templates static
var files embed.FS

// asset is a file that pages load. Its name holds a hash of its content, so a browser may keep it for ever.
type asset struct {
	name string
	kind string
	body []byte
}

// loadAsset reads a file of the folder static; stem and extension make its name.
func loadAsset(stem, extension, kind string) (asset, error) {
	body, err := files.ReadFile("static/" + stem + extension)
	if err != nil {
		return asset{}, fmt.Errorf("read what is built in: %w", err)
	}
	sum := sha256.Sum256(body)
	return asset{name: stem + "-" + hex.EncodeToString(sum[:6]) + extension, kind: kind, body: body}, nil
}

// Path is where a page finds the file.
func (a asset) Path() string { return "/static/" + a.name }

// static serves the built-in files.
func (s *Server) static(w http.ResponseWriter, r *http.Request) error {
	for _, a := range []asset{s.style, s.icon, s.script} {
		if a.name == r.PathValue("name") {
			w.Header().Set("Content-Type", a.kind)
			w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
			s.deliver(w, r, http.StatusOK, a.body)
			return nil
		}
	}
	return nothingHere(w, r)
}

// pageNames are the templates that fill the layout.
var pageNames = []string{"cellar", "tank", "log", "alarms", "alarm", "problem", "signin"}

// loadPages reads each page together with the layout and the parts that pages share.
func loadPages(words template.FuncMap) (map[string]*template.Template, error) {
	pages := make(map[string]*template.Template, len(pageNames))
	for _, page := range pageNames {
		t, err := template.New(page).Funcs(words).ParseFS(files,
			"templates/layout.html", "templates/parts.html", "templates/"+page+".html")
		if err != nil {
			return nil, fmt.Errorf("read the page %s: %w", page, err)
		}
		pages[page] = t
	}
	return pages, nil
}
