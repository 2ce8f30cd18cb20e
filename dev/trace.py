import json,sys
T="/work/wt/films/tune/"
g,c,at,snap=sys.argv[1],sys.argv[2],float(sys.argv[3]),float(sys.argv[4])
d=json.load(open(f"{T}s/{g}-{c}.json"))["series"]["samples"]
w=[s for s in d if at+snap-4<s["time"]<at+snap+3.5]
r=sorted(s["energy"] for s in w)[int(len(w)*.9)]
print(g,c,at,[n for cam in json.load(open(f"{T}{g}/truth.json"))["cameras"] if cam["angle"]==c for n in cam["nuisances"] if at-2<n["start"]/30<at+snap+6])
print(" ".join(f'{s["time"]-at-snap:+.1f}:{100*s["energy"]/r:.0f}{"*" if s["bad"] else ""}/{1000*s["robust"]:.0f}/{100*s["pan"]:.0f}' for s in w))
