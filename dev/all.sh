T=/work/wt/films/tune; cd /work/wt/sense
cp target/debug/examples/dev $T/dev
for g in ${@:-g1 g2 g3 g4 g5 g6}; do for c in sideline end-zone; do nice $T/dev $T/s/$g-$c.json $T/$g/$c.mp4; done; done
