package catalogue

import "testing"

// BenchmarkLoadDefaults is what a station pays for its own files when it opens.
func BenchmarkLoadDefaults(b *testing.B) {
	files := Defaults()
	size := 0
	for _, f := range files {
		size += len(f.Content)
	}
	b.SetBytes(int64(size))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Load(files); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkCheckDemo is what cross-checking the invented county costs.
func BenchmarkCheckDemo(b *testing.B) {
	loaded, err := Load(append(Defaults(), demo(b)...))
	if err != nil {
		b.Fatal(err)
	}
	after := library(loaded, nil)
	b.ReportAllocs()
	for b.Loop() {
		if problems := loaded.Check(after); len(problems) > 0 {
			b.Fatal(problems)
		}
	}
}
