// The list of studies.
import { fillIn } from "./coming";
import { keepDrafts } from "./drafts";

keepDrafts(document);
void fillIn(() => undefined);
