import "./app.css";
import "virtual:signs.css";
import { mount } from "svelte";
import App from "./frame/App.svelte";

const target = document.getElementById("app");
if (!target) throw new Error("the page has no place for the app");
mount(App, { target });

if (import.meta.env.PROD && "serviceWorker" in navigator) void navigator.serviceWorker.register("/sw.js");
