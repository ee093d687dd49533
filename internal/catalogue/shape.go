package catalogue

import (
	"strconv"
	"strings"

	"buf.build/go/protovalidate"
	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// shape compares a mapping with the message it is to become: every field known
// and given once, every value of the right kind. What passes here can be decoded.
func shape(c *complaints, node *yaml.Node, md protoreflect.MessageDescriptor, path string) {
	if node.Kind != yaml.MappingNode {
		c.add(node, path, found(node)+" stands where fields belong", "give fields such as "+either(fieldNames(md, 3)))
		return
	}
	given := map[string]*yaml.Node{}
	oneofs := map[protoreflect.Name]string{}
	for i := 0; i+1 < len(node.Content); i += 2 {
		if c.full {
			return
		}
		key, value := node.Content[i], node.Content[i+1]
		field := knownField(c, key, md, path)
		if field == nil {
			continue
		}
		if first := given[key.Value]; first != nil {
			c.add(key, join(path, key.Value), key.Value+" is given twice, first on line "+strconv.Itoa(first.Line), "keep one of them")
			continue
		}
		given[key.Value] = key
		if oneof := field.ContainingOneof(); oneof != nil && !oneof.IsSynthetic() {
			if other := oneofs[oneof.Name()]; other != "" {
				c.add(key, join(path, key.Value), key.Value+" and "+other+" exclude each other", "keep the one that is true")
				continue
			}
			oneofs[oneof.Name()] = key.Value
		}
		shapeField(c, key, value, field, join(path, key.Value))
	}
}

// knownField finds the field a key names, or complains.
func knownField(c *complaints, key *yaml.Node, md protoreflect.MessageDescriptor, path string) protoreflect.FieldDescriptor {
	if key.Kind != yaml.ScalarNode {
		c.add(key, path, found(key)+" stands where the name of a field belongs", "write \"name: value\"")
		return nil
	}
	field := md.Fields().ByName(protoreflect.Name(key.Value))
	if field == nil || neverGiven(field) {
		c.add(key, join(path, key.Value), shown(key.Value)+" is no field of "+spoken(md), suggestion(key.Value, fieldNames(md, md.Fields().Len())))
		return nil
	}
	return field
}

// neverGiven tells that a field's rule forbids to give it at all: it is the
// station's own, and nobody who writes a file need know of it.
func neverGiven(field protoreflect.FieldDescriptor) bool {
	rules, err := protovalidate.ResolveFieldRules(field)
	if err != nil {
		return false // the rules themselves are validated where they are compiled
	}
	octets, yes := rules.GetBytes(), rules.GetBool()
	return octets != nil && octets.MaxLen != nil && octets.GetMaxLen() == 0 || yes != nil && yes.Const != nil && !yes.GetConst()
}

// shapeField compares the value of one field with what the field holds.
func shapeField(c *complaints, key, value *yaml.Node, field protoreflect.FieldDescriptor, path string) {
	name := string(field.Name())
	if empty(value) {
		c.add(key, path, name+" has no value", "give it one, or leave the line out")
		return
	}
	if !field.IsList() {
		shapeValue(c, value, field, path)
		return
	}
	if value.Kind != yaml.SequenceNode {
		c.add(value, path, name+" is a list, and "+found(value)+" stands here", "begin each entry with \"- \"")
		return
	}
	for i, entry := range value.Content {
		at := path + "[" + strconv.Itoa(i) + "]"
		if empty(entry) {
			c.add(entry, at, "an entry of "+name+" is empty", "give it a value, or leave the line out")
			continue
		}
		shapeValue(c, entry, field, at)
	}
}

// shapeValue compares one value, or one entry of a list, with its field.
func shapeValue(c *complaints, value *yaml.Node, field protoreflect.FieldDescriptor, path string) {
	if md := field.Message(); md != nil && !written(md) {
		shape(c, value, md, path)
		return
	}
	if value.Kind != yaml.ScalarNode {
		c.add(value, path, found(value)+" stands where a single value belongs", "write "+string(field.Name())+": and the value on one line")
		return
	}
	if wrong, right := scalar(value.Value, field); wrong != "" {
		text := " is " + shown(value.Value) + ": " + wrong
		if not, _ := secret(string(field.Name())); not != "" {
			text = not + ": " + wrong
		}
		c.add(value, path, string(field.Name())+text, right)
	}
}

// written tells whether a message is written as a single value.
func written(md protoreflect.MessageDescriptor) bool {
	return md.FullName() == durationName || md.FullName() == timestampName
}

// empty tells whether a value was left out after its colon or dash.
func empty(node *yaml.Node) bool {
	return node.Kind == yaml.ScalarNode && node.Tag == "!!null"
}

// found names what stands somewhere.
func found(node *yaml.Node) string {
	switch node.Kind {
	case yaml.SequenceNode:
		return "a list"
	case yaml.MappingNode:
		return "a group of fields"
	default:
		return "a single value"
	}
}

// fieldNames lists a message's fields, at most so many.
func fieldNames(md protoreflect.MessageDescriptor, most int) []string {
	fields := md.Fields()
	names := make([]string, 0, fields.Len())
	for i := 0; i < fields.Len() && len(names) < most; i++ {
		if !neverGiven(fields.Get(i)) {
			names = append(names, string(fields.Get(i).Name()))
		}
	}
	return names
}

// spoken names a message with its article: "an item", "a vehicle configuration".
func spoken(md protoreflect.MessageDescriptor) string {
	name := noun(md)
	if strings.ContainsRune("aeiou", rune(name[0])) {
		return "an " + name
	}
	return "a " + name
}

// noun names a message as people would: "item", "vehicle configuration".
func noun(md protoreflect.MessageDescriptor) string {
	var b strings.Builder
	for i, r := range string(md.Name()) {
		if i > 0 && 'A' <= r && r <= 'Z' {
			b.WriteByte(' ')
		}
		b.WriteString(strings.ToLower(string(r)))
	}
	return b.String()
}

// join puts a field's name behind the path of what holds it.
func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}
