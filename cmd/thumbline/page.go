package main

import tea "charm.land/bubbletea/v2"

var _ tea.Model // the page of hear and loop
