package main

import (
	"context"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"bayround/internal/catalogue"
	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

const packsHelp = `Look at the rule packs.

  doc   every rule in words, as Markdown`

const packsDocHelp = `Print every rule of a pack, or of all packs, in words, as Markdown: by stop of the walk and
family, what is looked at, when the rule is met, grade and effect, limits, how long it may be
deferred, who decides, and where it comes from. What has no words stands as it is written, in
the Common Expression Language.

The packs are those in force at the station; with --builtin those that come with the program,
for which no station is needed.`

const packsDocExample = `  server packs doc gb-use > gb-use.md
  server packs doc --builtin > rules.md`

func newPacks(c *console) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "packs",
		Short:   "Look at the rule packs, in words",
		Long:    packsHelp,
		Example: "  server packs doc gb-use",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newPacksDoc(c))
	return cmd
}

func newPacksDoc(c *console) *cobra.Command {
	var address string
	var builtin bool
	cmd := &cobra.Command{
		Use:     "doc [PACK…]",
		Short:   "Print every rule in words, as Markdown",
		Long:    packsDocHelp,
		Example: packsDocExample,
		RunE: func(cmd *cobra.Command, args []string) error {
			var names []string
			for _, name := range args {
				names = append(names, inCollection("packs", name))
			}
			if builtin {
				items, packs, err := builtinPacks(names)
				if err == nil {
					c.packsDoc(items, packs)
				}
				return err
			}
			return c.asking(address, func(s *remote) error {
				items, packs, err := s.packs(cmd.Context(), names)
				if err == nil {
					c.packsDoc(items, packs)
				}
				return err
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().BoolVar(&builtin, "builtin", false, "the packs that come with the program; no station is asked")
	return cmd
}

// builtinPacks are the packs that come with the program, or those of them that are
// named, and the items they speak of.
func builtinPacks(names []string) (*pb.Catalogue, []*pb.RulePack, error) {
	loaded, err := catalogue.Load(catalogue.Defaults())
	if err != nil {
		return nil, nil, err
	}
	if len(names) == 0 {
		return loaded.Catalogue, loaded.RulePacks, nil
	}
	var packs []*pb.RulePack
	var there []string
	for _, pack := range loaded.RulePacks {
		there = append(there, lastPart(pack.GetName()))
		if slices.Contains(names, pack.GetName()) {
			packs = append(packs, pack)
		}
	}
	if len(packs) < len(names) {
		return nil, nil, command.Misuse("%s: the program brings %s", strings.Join(names, ", "), strings.Join(there, ", "))
	}
	return loaded.Catalogue, packs, nil
}

// packs are those in force at the station, or those of them that are named, and the
// items they speak of.
func (s *remote) packs(ctx context.Context, names []string) (*pb.Catalogue, []*pb.RulePack, error) {
	ctx, cancel := patiently(ctx)
	defer cancel()
	items, err := s.vehicles.GetCatalogue(ctx, &pb.GetCatalogueRequest{})
	if err != nil {
		return nil, nil, err
	}
	if len(names) == 0 {
		err = pages(func(token string) (string, error) {
			resp, err := s.vehicles.ListRulePacks(ctx, &pb.ListRulePacksRequest{PageSize: 200, PageToken: token})
			for _, pack := range resp.GetRulePacks() {
				names = append(names, pack.GetName())
			}
			return resp.GetNextPageToken(), err
		})
		if err != nil {
			return nil, nil, err
		}
	}
	var packs []*pb.RulePack
	for _, name := range names {
		resp, err := s.vehicles.GetRulePack(ctx, &pb.GetRulePackRequest{Name: name})
		if err != nil {
			return nil, nil, err
		}
		packs = append(packs, resp.GetRulePack())
	}
	return items.GetCatalogue(), packs, nil
}
