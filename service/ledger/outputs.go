package ledger

import "context"

// outputKey begins the keys under which the outputs stand that may have been told
// setpoints as commands. A command is not retained: whoever took it goes on by it, and
// nothing on the broker tells of it.
const outputKey, outputs = "output ", "outputs that take commands"

// Outputs gives the outputs that may have been told setpoints, as AddOutputs got them,
// sorted.
func (l *Ledger) Outputs(ctx context.Context) ([]string, error) {
	return l.names(ctx, sortedNames, outputKey, outputs)
}

// AddOutputs notes outputs, before they are told anything.
func (l *Ledger) AddOutputs(ctx context.Context, told []string) error {
	return l.eachName(ctx, addNames, outputKey, outputs, told)
}

// DropOutputs forgets outputs, once what they were told has been taken back.
func (l *Ledger) DropOutputs(ctx context.Context, untold []string) error {
	return l.eachName(ctx, dropNames, outputKey, outputs, untold)
}
