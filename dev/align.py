import json,sys,statistics as st
T="/work/wt/films/tune/"
ci=int(sys.argv[1])
acc={}
for g in ["g1","g2","g3","g4","g5","g6"]:
    c=["sideline","end-zone"][ci]
    d=json.load(open(f"{T}s/{g}-{c}.json"))["series"]["samples"]
    tr=json.load(open(f"{T}{g}/truth.json"))["cameras"][ci]
    for p in tr["plays"]:
        t=p["snap_time"]
        w=[(s["time"]-t,s["energy"],s["robust"]) for s in d if -2<s["time"]-t<3]
        ref=sorted(e for dt,e,r in w if dt>1)[-3] if len(w)>10 else None
        if not ref: continue
        for dt,e,r in w: acc.setdefault(round(dt*7.5)/7.5,[]).append(e/ref)
for k in sorted(acc): print("%.2f n %d  p10 %.2f med %.2f p90 %.2f"%(k,len(acc[k]),sorted(acc[k])[len(acc[k])//10],st.median(acc[k]),sorted(acc[k])[len(acc[k])*9//10]))
