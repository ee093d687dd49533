package main

import (
	"context"
	"strconv"
	"strings"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/stock"
	pb "bayround/proto/bayround/v1"
)

const stockHelp = `Keep account of what stations have of what is topped up and replaced on vehicles.

  list      what there is, by what is written down
  history   the account of one material, the newest line first
  deliver   some of a material came
  count     somebody has counted what is there; the difference is a correction

What goes onto a vehicle is taken out with the answer that puts something right, on the
tablet, and no balance stands in its way. The file of a station says under "stocked" of
what account is kept.`

const stockExample = `  server stock list
  server stock history skarholm-quay engine-oil
  server stock deliver skarholm-quay engine-oil 20l --person steddow --note "delivery note 4411"
  server stock count skarholm-quay engine-oil 17.5l --person arkwith`

func newStock(c *console) *cobra.Command {
	cmd := &cobra.Command{
		Use: "stock", Short: "Keep account of oil, coolant, foam and the like at stations", Long: stockHelp, Example: stockExample, Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newStockList(c), newStockHistory(c), newStockMove(c, "deliver"), newStockMove(c, "count"))
	return cmd
}

func newStockList(c *console) *cobra.Command {
	var address, station string
	var low bool
	cmd := &cobra.Command{
		Use: "list", Short: "What there is, by what is written down", Long: "List what stations have of each material: what was counted last, with what was delivered and used since.",
		Example: "  server stock list --low", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.asking(address, func(s *remote) error { return s.stockList(cmd.Context(), c, station, low) })
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVar(&station, "station", "", "only of this station")
	cmd.Flags().BoolVar(&low, "low", false, "only what is low")
	return cmd
}

func (s *remote) stockList(ctx context.Context, c *console, station string, low bool) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	if station != "" {
		station = inCollection("stations", station)
	}
	rows := [][]string{{"STATION", "MATERIAL", "WHAT", "COUNTED"}}
	err := pages(func(token string) (string, error) {
		resp, err := s.stock.ListStock(ctx, &pb.ListStockRequest{PageSize: 200, PageToken: token, Station: station, LowOnly: low})
		for _, one := range resp.GetStocks() {
			counted := "never"
			if one.GetCounted() != nil {
				counted = one.GetCounted().AsTime().Local().Format("2006-01-02 15:04")
			}
			rows = append(rows, []string{lastPart(one.GetStation()), one.GetMaterial().GetId(), one.GetText(), counted})
		}
		return resp.GetNextPageToken(), err
	})
	if err == nil {
		c.columns(rows)
	}
	return err
}

func newStockHistory(c *console) *cobra.Command {
	var address string
	cmd := &cobra.Command{
		Use: "history STATION MATERIAL", Short: "The account of one material", Long: "Print the account of one material, the newest line first. The changes of all lines make the balance.",
		Example: "  server stock history skarholm-quay engine-oil", Args: exactly(2, "name a station and a material, for instance skarholm-quay engine-oil"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.asking(address, func(s *remote) error {
				return s.stockHistory(cmd.Context(), c, inCollection("stations", args[0]), args[1])
			})
		},
	}
	serverFlag(cmd, &address)
	return cmd
}

func (s *remote) stockHistory(ctx context.Context, c *console, station, material string) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	ml, err := s.inML(ctx, station, material)
	if err != nil {
		return err
	}
	rows := [][]string{{"WHEN", "WHAT", "CHANGE", "BALANCE", "WHO", "VEHICLE", "NOTE"}}
	err = pages(func(token string) (string, error) {
		resp, err := s.stock.ListStockMovements(ctx, &pb.ListStockMovementsRequest{PageSize: 200, PageToken: token, Station: station, Material: material})
		for _, m := range resp.GetMovements() {
			what := strings.ToLower(strings.TrimPrefix(m.GetMoved().GetKind().String(), "STOCK_MOVEMENT_KIND_"))
			rows = append(rows, []string{
				m.GetMoved().GetHappened().AsTime().Local().Format("2006-01-02 15:04"), what, stock.Amount(m.GetChangeMlOrPieces(), ml), stock.Amount(m.GetBalanceMlOrPieces(), ml),
				lastPart(m.GetPerson()), lastPart(m.GetVehicle()), m.GetMoved().GetNote(),
			})
		}
		return resp.GetNextPageToken(), err
	})
	if err == nil {
		c.columns(rows)
	}
	return err
}

// inML tells whether a material is counted in millilitres.
func (s *remote) inML(ctx context.Context, station, material string) (ml bool, err error) {
	err = pages(func(token string) (string, error) {
		resp, err := s.stock.ListStock(ctx, &pb.ListStockRequest{PageSize: 200, PageToken: token, Station: station})
		for _, one := range resp.GetStocks() {
			if one.GetMaterial().GetId() == material {
				ml = one.GetMaterial().GetUnit() == pb.StockUnit_STOCK_UNIT_ML
			}
		}
		return resp.GetNextPageToken(), err
	})
	return ml, err
}

// newStockMove is the command that tells of a delivery or a count.
func newStockMove(c *console, verb string) *cobra.Command {
	var address, person, note string
	words := map[string]string{"deliver": "Record that some of a material came", "count": "Record how much of a material was counted"}[verb]
	cmd := &cobra.Command{
		Use: verb + " STATION MATERIAL AMOUNT", Short: words, Long: words + ".\nThe amount is in litres (20l) or millilitres (500ml), or a whole number of pieces (12).",
		Example: "  server stock " + verb + " skarholm-quay engine-oil 20l --person steddow",
		Args:    exactly(3, "name a station, a material and an amount, for instance skarholm-quay engine-oil 20l"),
		RunE: func(cmd *cobra.Command, args []string) error {
			amount, ml, ok := amountOf(args[2])
			switch {
			case person == "":
				return command.Misuse("--person is missing: say who says so, for instance --person arkwith")
			case !ok:
				return command.Misuse("%q is no amount: write litres as 20l, millilitres as 500ml, pieces as 12", args[2])
			}
			return c.asking(address, func(s *remote) error {
				ctx, cancel := patiently(cmd.Context())
				defer cancel()
				station := inCollection("stations", args[0])
				if inML, err := s.inML(ctx, station, args[1]); err != nil {
					return err
				} else if inML != ml && amount != 0 {
					return command.Misuse("%s is counted in %s", args[1], map[bool]string{true: "litres: write 20l or 500ml", false: "pieces: write 12"}[inML])
				}
				left, err := s.stockMove(ctx, verb, &pb.CountStockRequest{
					RequestId: uuid.NewString(), Station: station, Material: args[1], Person: inCollection("people", person), AmountMlOrPieces: amount, Note: note,
				})
				if err == nil {
					c.Say("%s", left)
				}
				return err
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVar(&person, "person", "", "who says so")
	cmd.Flags().StringVar(&note, "note", "", "in words, for instance a delivery note")
	return cmd
}

// stockMove tells of a count, or in the same words of a delivery, and says what is left.
func (s *remote) stockMove(ctx context.Context, verb string, req *pb.CountStockRequest) (left string, err error) {
	if verb == "count" {
		resp, err := s.stock.CountStock(ctx, req)
		return resp.GetStock().GetText() + "; " + resp.GetCorrectionText(), err
	}
	resp, err := s.stock.RecordDelivery(ctx, &pb.RecordDeliveryRequest{
		RequestId: req.GetRequestId(), Station: req.GetStation(), Material: req.GetMaterial(), Person: req.GetPerson(),
		AmountMlOrPieces: req.GetAmountMlOrPieces(), Note: req.GetNote(),
	})
	return resp.GetStock().GetText(), err
}

// amountOf reads an amount: 20l, 0.5l and 500ml in millilitres, 12 in pieces.
func amountOf(text string) (amount int64, ml, ok bool) {
	text = strings.ToLower(strings.TrimSpace(text))
	if number, is := strings.CutSuffix(text, "ml"); is {
		n, err := strconv.ParseInt(number, 10, 64)
		return n, true, err == nil && n >= 0 && n <= stock.Most
	}
	if number, is := strings.CutSuffix(text, "l"); is {
		litres, err := strconv.ParseFloat(number, 64)
		n, whole := stock.Units(litres, 1000)
		return n, true, err == nil && (whole || litres == 0)
	}
	n, err := strconv.ParseInt(text, 10, 64)
	return n, false, err == nil && n >= 0 && n <= stock.Most
}
