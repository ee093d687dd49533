package sop

// nearest builds an order by always going to the nearest node that is ready, among
// equals to the first. ok is false when it ends where no way leads on.
func (p *Problem) nearest() (order []int, cost int64, ok bool) {
	var seen set
	seen.add(0)
	order = append(make([]int, 0, p.n), 0)
	for len(order) < p.n {
		last, next, least := order[len(order)-1], -1, int64(Never)
		for j := range p.n {
			if c := p.arc(last, j); c < least && !seen.has(j) && seen.holds(&p.before[j]) && p.mayFollow(last, j, &seen) {
				next, least = j, c
			}
		}
		if next < 0 {
			return order, cost, false
		}
		seen.add(next)
		order, cost = append(order, next), cost+least
	}
	return order, cost, true
}
