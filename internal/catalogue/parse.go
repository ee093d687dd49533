package catalogue

import (
	"regexp"
	"strconv"
	"strings"

	"buf.build/go/protoyaml"
	"go.yaml.in/yaml/v3"

	pb "bayround/proto/bayround/v1"
)

// document is one file that could be read.
type document struct {
	file    string
	root    *yaml.Node // a mapping; without content when the file holds nothing
	message *pb.StationFile
}

// parse reads one file. A document comes back when the file could be decoded,
// even when its values break rules of the proto: those are among the problems.
func parse(f File) (*document, Problems) {
	if p := readable(f); p != nil {
		return nil, Problems{*p}
	}
	root, problem := tree(f)
	switch {
	case problem != nil:
		return nil, Problems{*problem}
	case root == nil || empty(root):
		return &document{file: f.Name, root: &yaml.Node{Kind: yaml.MappingNode}, message: &pb.StationFile{}}, nil
	}
	d := &document{file: f.Name, root: root, message: &pb.StationFile{}}
	c := &complaints{file: f.Name}
	plain(c, root, 0)
	if len(c.list) > 0 {
		return nil, c.list
	}
	shape(c, root, d.message.ProtoReflect().Descriptor(), "")
	if len(c.list) > 0 {
		return nil, c.list
	}
	if err := protoyaml.Unmarshal(f.Content, d.message); err != nil {
		return nil, Problems{undecoded(f.Name, err)}
	}
	validate(c, d)
	return d, c.list
}

// decoderPlace is the place in front of the decoder's words.
var decoderPlace = regexp.MustCompile(`^:(\d+):(\d+) (.*)`)

// undecoded says that something which looked right could not be decoded all the
// same. The decoder's words are the best there is.
func undecoded(file string, err error) Problem {
	p := Problem{File: file, Line: 1, Column: 1, Right: "write values as the other files do"}
	text, _, _ := strings.Cut(err.Error(), "\n")
	if m := decoderPlace.FindStringSubmatch(text); m != nil {
		p.Line, _ = strconv.Atoi(m[1])
		p.Column, _ = strconv.Atoi(m[2])
		text = m[3]
	}
	p.Wrong = "the value cannot be decoded: " + text
	return p
}
