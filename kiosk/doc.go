// Command kiosk is the tablet in the appliance bay: it leads the driver round the
// vehicle, keeps what was answered whether the network is there or not, and
// drives the bay display.
//
//	kiosk serve     run the tablet and the bay display
//	kiosk pin       make the hash of a PIN, for a person's file
//	kiosk forget-station  end an alarm about the station, once somebody has decided
//	kiosk version   say which version this is
//
// The exit codes are those of the package command; the help says them.
package main
