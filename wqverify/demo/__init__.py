"""The demo plant Ellodale: invented, seeded, labelled synthetic."""
